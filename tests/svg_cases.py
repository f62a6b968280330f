"""Small SVG files for the tests."""

from pathlib import Path

from decalprep.intake.options import IntakeOptions
from decalprep.intake.svg import read_svg
from decalprep.model import Artwork

SQUARE = '<rect width="5" height="5"/>'
FONT = 'font-family="Bitstream Vera Sans"'


def svg_file(folder: Path, body: str, *, head: str = "", name: str = "panel.svg") -> Path:
    """A file of 50 x 30 mm whose unit is 1 mm."""
    path = folder / name
    path.write_text(
        f'{head}<svg xmlns="http://www.w3.org/2000/svg" '
        'xmlns:xlink="http://www.w3.org/1999/xlink" xmlns:ed="https://example.org/editor" '
        f'width="50mm" height="30mm" viewBox="0 0 50 30">{body}</svg>',
        encoding="utf-8",
    )
    return path


def read(
    folder: Path, body: str, options: IntakeOptions | None = None, *, head: str = ""
) -> Artwork:
    """The artwork of a body of 50 x 30 mm."""
    return read_svg(svg_file(folder, body, head=head), options or IntakeOptions())


def codes(artwork: Artwork) -> dict[str, str]:
    """The notices' texts by code."""
    return {n.code: n.text for n in artwork.notices}
