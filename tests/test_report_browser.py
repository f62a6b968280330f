"""The report in a real browser: layers, sizes, keys, dark, narrow, print; no script, no network."""

import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from browser import Browser, browser, program
from PIL import Image
from report_job import shared_job

pytestmark = pytest.mark.skipif(
    program() is None, reason="chromium is not installed (package chromium)"
)
TAB = ("Tab", 9)


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("browser") / "report.html"
    path.write_bytes(shared_job().files["report.html"])
    return path


@pytest.fixture(scope="module")
def seen(page: Path) -> Iterator[Browser]:
    """The report open in a browser that runs no script of it."""
    with browser() as opened:
        opened.ask("Emulation.setScriptExecutionDisabled", value=True)
        yield opened


@pytest.fixture
def report(seen: Browser, page: Path) -> Browser:
    seen.window(1200, 1000)
    seen.media()
    seen.open(page)
    return seen


def pixels(data: bytes) -> np.ndarray:
    with Image.open(io.BytesIO(data)) as picture:
        return np.asarray(picture.convert("RGB"), dtype=int)


def test_nothing_is_asked_of_the_network_and_nothing_is_wrong(report: Browser) -> None:
    asked = [
        e["params"]["request"]["url"]
        for e in report.events
        if e.get("method") == "Network.requestWillBeSent"
    ]
    assert asked
    assert all(url.startswith(("data:image/webp", "file:")) for url in asked), asked
    assert sum(url.startswith("file:") for url in asked) == 1
    told = [
        e
        for e in report.events
        if e.get("method") in ("Log.entryAdded", "Runtime.consoleAPICalled")
    ]
    assert told == []


def test_a_page_that_did_reach_out_would_be_noticed(
    report: Browser, page: Path, tmp_path: Path
) -> None:
    """The check above can fail: the report's own policy, and an address and a script beside it."""
    text = page.read_text(encoding="utf-8")
    head, tail = text.split("</footer>")
    worse = tmp_path / "worse.html"
    worse.write_text(f'{head}<img src="http://127.0.0.1:9/x.png" alt="x"></footer>{tail}')
    report.open(worse)
    told = [
        e["params"]["entry"]["text"] for e in report.events if e.get("method") == "Log.entryAdded"
    ]
    assert any("Content Security Policy" in words for words in told), told


def test_every_picture_is_drawn(report: Browser) -> None:
    assert report.value("document.images.length") > 8
    assert report.value("[...document.images].every(i => i.complete && i.naturalWidth > 0)")


def test_the_title_is_text(report: Browser) -> None:
    from report_job import TITLE

    assert report.value("document.querySelector('h1').textContent") == TITLE
    assert report.value("document.title") == f"{TITLE}: decal report"
    assert report.value("document.scripts.length") == 0


def test_a_switch_hides_its_layer_and_shows_it_again(report: Browser) -> None:
    """By the key that a person would press, with scripts off."""
    look = "getComputedStyle(document.querySelector('#sheets .k1')).visibility"
    report.value("document.querySelector('#s1-t1').focus()")
    assert report.value(look) == "visible"
    report.key(" ", 32, " ")
    assert report.value("document.querySelector('#s1-t1').checked") is False
    assert report.value(look) == "hidden"
    report.key(" ", 32, " ")
    assert report.value(look) == "visible"


def test_the_picture_gets_larger_by_the_arrow_keys(report: Browser) -> None:
    width = "document.querySelector('.paper').getBoundingClientRect().width"
    small = report.value(width)
    report.value("document.querySelector('input[name=s1-zoom]').focus()")
    report.key("ArrowRight", 39)
    larger = report.value(width)
    report.key("ArrowRight", 39)
    assert small < larger < report.value(width)
    assert report.value("document.documentElement.scrollWidth <= innerWidth")


def test_every_control_can_be_reached_and_shows_it(report: Browser) -> None:
    """Tab goes through skip link, contents, tables and switches; each shows where it is."""
    seen: list[str] = []
    for _ in range(16):
        report.key(*TAB)
        seen.append(
            report.value(
                "(e => e.tagName + '|' + e.className.baseVal + e.className + '|' +"
                "getComputedStyle(e).outlineStyle)(document.activeElement)"
            )
        )
    assert "skip" in seen[0]
    assert all(s.endswith("solid") for s in seen), seen
    tags = {s.partition("|")[0] for s in seen}
    assert {"A", "DIV", "INPUT"} <= tags, seen


def test_a_screen_reader_hears_names_for_everything(report: Browser) -> None:
    nodes = report.ask("Accessibility.getFullAXTree")["nodes"]
    named = ("checkbox", "radio", "link", "image", "table", "region", "navigation", "article")
    roles = {}
    for node in nodes:
        role = node.get("role", {}).get("value")
        if node.get("ignored") or role not in named:
            continue
        roles[role] = roles.get(role, 0) + 1
        assert node.get("name", {}).get("value", "").strip(), node
    assert set(named) <= roles.keys(), roles


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_light_and_dark(report: Browser, scheme: str) -> None:
    report.media(scheme=scheme)
    shown = pixels(report.picture())
    corner = shown[5, 5].mean()
    assert corner > 240 if scheme == "light" else corner < 40
    assert report.value("getComputedStyle(document.querySelector('.paper')).backgroundColor") == (
        "rgb(255, 255, 255)"
    )


def test_on_a_phone_nothing_runs_off_the_side(report: Browser) -> None:
    report.window(360, 740, mobile=True)
    assert report.value("document.documentElement.scrollWidth") <= 360
    assert report.value("document.documentElement.clientWidth") == 360


def test_in_print_the_controls_are_gone_and_the_sheets_are_there(report: Browser) -> None:
    report.media("print")
    gone = "[...document.querySelectorAll('.controls, nav')].every(e => e.offsetHeight === 0)"
    assert report.value(gone)
    assert report.value("document.querySelector('.paper').offsetHeight > 300")
    import base64

    pdf = base64.b64decode(report.ask("Page.printToPDF", preferCSSPageSize=True)["data"])
    assert pdf.startswith(b"%PDF")
    assert 2 <= pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ") <= 40
