"""OpenCV held to one thread, for work that is shared out over processes."""

import contextlib
from collections.abc import Iterator

import cv2


@contextlib.contextmanager
def one_threaded() -> Iterator[None]:
    """OpenCV without threads of its own, whether or not other processes share the work.

    A forked process would wait for ever for threads that it lost; the cores are busy anyway; and
    sums of pictures come out the same to the last bit, however many cores there are.
    """
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        yield
    finally:
        cv2.setNumThreads(threads)
