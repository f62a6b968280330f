"""What C libraries say on the error stream, caught: pictures of a damaged TIFF say so themselves.

libtiff prints what is wrong and goes on; a fax-coded picture comes out with lines missing and no
error at all. What was printed is raised instead, so that it is told once and in our words.
"""

import contextlib
import os
import sys
import tempfile
from collections.abc import Iterator
from typing import Any

_MOST_BYTES = 10_000


@contextlib.contextmanager
def heard(said: list[str]) -> Iterator[None]:
    """Adds to ``said`` the lines written to file descriptor 2 within; nothing of them is shown.

    Does not part threads: what others write meanwhile is caught too. Where there is no error
    stream, or no room for a temporary file, nothing is caught.
    """
    with contextlib.ExitStack() as stack:
        try:
            kept = os.dup(2)
            stack.callback(os.close, kept)
            sink = stack.enter_context(tempfile.TemporaryFile())
        except OSError:
            yield
            return
        if sys.stderr is not None:
            sys.stderr.flush()
        os.dup2(sink.fileno(), 2)
        try:
            yield
        finally:
            os.dup2(kept, 2)
            sink.seek(0)
            text = sink.read(_MOST_BYTES).decode("utf-8", "replace")
            said += [line.strip() for line in text.splitlines() if line.strip()]


def load_whole(picture: Any) -> None:
    """Decodes a Pillow picture, or says why it is not whole.

    Raises:
        OSError: its decoder gave up, or went on after an error; in the decoder's own words.
    """
    said: list[str] = []
    try:
        with heard(said):
            picture.load()
    except OSError as problem:
        if not said:
            raise
        raise OSError(_without_name(said[0])) from problem
    if said:
        raise OSError(_without_name(said[0]))


def _without_name(line: str) -> str:
    """A complaint without the name that Pillow gives every file while it decodes."""
    return line.removeprefix("tempfile.tif: ").rstrip(".")
