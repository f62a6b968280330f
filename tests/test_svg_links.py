"""Nothing outside the artwork's folder is read, and what is left out is named."""

import base64
import io
import threading
from pathlib import Path
from socket import socket

import pytest
from PIL import Image
from svg_cases import FONT, codes, read

from decalprep.errors import TooMuch, Unfaithful
from decalprep.intake.options import IntakeOptions, Limits
from decalprep.model import Severity
from decalprep.pdfstream import read_page

SQUARE = '<rect width="5" height="5"/>'


def _png(colour: str = "red") -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (8, 8), colour).save(out, "PNG")
    return out.getvalue()


@pytest.mark.parametrize(
    "target",
    [
        "../secret.png",
        "{folder}/../secret.png",
        "file://{folder}/../secret.png",
        "%2e%2e/secret.png",
    ],
)
def test_a_picture_outside_the_folder_is_not_read(target: str, tmp_path: Path) -> None:
    (tmp_path / "secret.png").write_bytes(_png())
    home = tmp_path / "job"
    home.mkdir()
    shown = target.replace("{folder}", str(home))
    artwork = read(home, f'{SQUARE}<image href="{shown}" width="9" height="9"/>')
    told = next(n for n in artwork.notices if n.code == "external-reference")
    assert told.severity is Severity.DANGER
    assert shown in told.text
    assert not read_page(artwork.page_pdf).images


def test_a_link_out_of_the_folder_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "secret.png").write_bytes(_png())
    home = tmp_path / "job"
    home.mkdir()
    (home / "inside.png").symlink_to(tmp_path / "secret.png")
    artwork = read(home, f'{SQUARE}<image href="inside.png" width="9" height="9"/>')
    assert "external-reference" in codes(artwork)


def test_a_picture_beside_the_artwork_is_laid_in(tmp_path: Path) -> None:
    (tmp_path / "badge.png").write_bytes(_png())
    artwork = read(tmp_path, '<image xlink:href="badge.png" x="5" width="9" height="9"/>')
    assert len(read_page(artwork.page_pdf).images) == 1
    assert "external-reference" not in codes(artwork)


def test_no_network_is_used(tmp_path: Path) -> None:
    asked: list[bytes] = []
    with socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        listener.settimeout(0.1)
        url = f"http://127.0.0.1:{listener.getsockname()[1]}/a"

        def wait() -> None:
            try:
                connection, _ = listener.accept()
            except OSError:
                return
            asked.append(b"")
            connection.close()

        listener.settimeout(6)
        watcher = threading.Thread(target=wait, daemon=True)
        watcher.start()
        head = f'<?xml-stylesheet href="{url}.css"?><!DOCTYPE svg SYSTEM "{url}.dtd">'
        body = (
            f'<style>@import url("{url}i.css"); rect {{ fill: url({url}.svg#g) }}</style>'
            f'{SQUARE}<image href="{url}.png" width="5" height="5"/><use href="{url}.svg#u"/>'
            f'<path d="M20 20h5v5z"/><a href="{url}">'
            f'<text y="20" font-size="3" {FONT}>GO</text></a>'
        )
        artwork = read(tmp_path, body, head=head)
    assert asked == []
    named = " ".join(n.text for n in artwork.notices if n.code == "external-reference")
    for end in (".css", "i.css", ".svg#g", ".png", ".svg#u"):
        assert url + end in named


def test_damaged_or_unknown_pictures_are_refused(tmp_path: Path) -> None:
    whole = base64.b64encode(_png()[:40]).decode()
    for target, words in (
        (f"data:image/png;base64,{whole}", "damaged picture"),
        ("data:image/png;base64,AAAA", "unknown kind"),
        ("data:nonsense", "cannot be decoded"),
    ):
        with pytest.raises(Unfaithful, match=words):
            read(tmp_path, f'{SQUARE}<image href="{target}" width="5" height="5"/>')


def test_a_picture_of_too_many_pixels_is_refused(tmp_path: Path) -> None:
    uri = "data:image/png;base64," + base64.b64encode(_png()).decode()
    options = IntakeOptions(limits=Limits(max_pixels=60))
    with pytest.raises(TooMuch, match="64 pixels"):
        read(tmp_path, f'<image href="{uri}" width="5" height="5"/>', options)


def test_an_svg_in_an_svg_is_drawn_only_where_it_is_plain(tmp_path: Path) -> None:
    def uri(body: str) -> str:
        inner = f'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9">{body}</svg>'
        return "data:image/svg+xml;base64," + base64.b64encode(inner.encode()).decode()

    plain = f'<image href="{uri(SQUARE)}" width="9" height="9"/>'
    assert read_page(read(tmp_path, plain).page_pdf).shapes
    for body in ("<text>A</text>", '<image href="../a.png"/>', '<use href="b.svg#c"/>'):
        with pytest.raises(Unfaithful, match="embedded SVG"):
            read(tmp_path, f'<image href="{uri(body)}" width="9" height="9"/>')
