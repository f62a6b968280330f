"""The report: structure, text that stays text, nothing from outside, the same bytes again."""

import base64
import hashlib
import io
import re
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest
from PIL import Image
from report_job import HOSTILE, TITLE, shared_job

from decalprep.geometry import Box
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.make import Made, MakeOptions, make_job
from decalprep.jobs.report import report_html
from decalprep.jobs.report_data import result_data
from decalprep.jobs.report_places import holding, places_of

VOID = {"meta", "img", "input", "br", "hr", "link"}


class Tree(HTMLParser):
    """Every element with its attributes and text, and whether the tags close in order."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.open: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == [], self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert len({k for k, _ in attrs}) == len(attrs), f"{tag} has an attribute twice"
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag, tag

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    def of(self, *names: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.elements if name in names]


@pytest.fixture(scope="module")
def made() -> Made:
    return shared_job()


@pytest.fixture(scope="module")
def text(made: Made) -> str:
    return made.files["report.html"].decode("utf-8")


@pytest.fixture(scope="module")
def tree(text: str) -> Tree:
    return Tree(text)


# ---------------------------------------------------------------- text stays text


def test_what_a_person_typed_is_never_markup(tree: Tree) -> None:
    names = Counter(name for name, _ in tree.elements)
    assert not names["script"]
    assert not names["iframe"] + names["object"] + names["embed"] + names["form"] + names["b"]
    for name, attrs in tree.elements:
        for key in attrs:
            assert not key.startswith("on"), (name, key)
            assert key != "style", name
    whole = "".join(tree.texts)
    assert TITLE in whole
    assert HOSTILE in whole
    assert "<b>EUR</b>" in whole


@pytest.mark.parametrize("raw", ["<script>", "</title><script", "onerror=alert(2)>", "<b>EUR"])
def test_raw_markup_is_nowhere(text: str, raw: str) -> None:
    assert raw not in text


# ---------------------------------------------------------------- nothing from outside


def test_it_needs_nothing_else(tree: Tree, text: str) -> None:
    ids = [attrs["id"] for _, attrs in tree.elements if "id" in attrs]
    assert len(set(ids)) == len(ids)
    for name, attrs in tree.elements:
        for key in ("src", "href", "srcset", "action", "data", "poster", "xlink:href"):
            value = attrs.get(key)
            if value is None:
                continue
            if value.startswith("#"):
                assert value[1:] in ids, value
            else:
                assert value.startswith("data:image/webp;base64,"), (name, key, value[:40])
    assert not tree.of("link", "base")
    style = text.partition("<style>")[2].partition("</style>")[0]
    assert "url(" not in style
    assert "@import" not in style


def test_its_policy_forbids_the_network_and_scripts(tree: Tree, text: str) -> None:
    policy = next(
        m["content"] for m in tree.of("meta") if m.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy is not None
    rules = dict(part.strip().split(" ", 1) for part in policy.split(";"))
    assert rules["default-src"] == "'none'"
    assert rules["img-src"] == "data:"
    assert "script-src" not in rules
    style = text.partition("<style>")[2].partition("</style>")[0]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert rules["style-src"] == f"'sha256-{digest}'"


def test_no_place_of_this_machine_is_told(made: Made, text: str) -> None:
    assert str(made.job.folder) not in text
    assert str(made.job.folder) not in made.files["result.json"].decode("utf-8")


def test_the_same_run_gives_the_same_bytes(made: Made) -> None:
    assert report_html(made, made.files) == made.files["report.html"]


# ---------------------------------------------------------------- what is in it


def test_every_decal_is_in_the_table_with_its_numbers(made: Made, text: str) -> None:
    section = text.partition('<section id="decals"')[2].partition("</section>")[0]
    rows = re.findall(r"<tr>(.*?)</tr>", section)[1:]
    assert len(rows) == len(made.laid.placements) == 3
    places = {(p["decal"], p["copy"]): p for p in result_data(made)["placements"]}
    for row, proof in zip(rows, made.proof.rows, strict=True):
        assert f"{proof.error_mm:.4f}" in row
        assert f"{proof.measured_mm[0]:.3f} x {proof.measured_mm[1]:.3f}" in row
        place = places[(proof.decal, proof.copy)]
        expected = place["expected_error_mm"]
        assert f"{expected[0]:.2f} across, {expected[1]:.2f} up" in row
        assert f"{place['on_page_mm'][0]:.2f}" in row


def test_a_corrected_page_is_larger_by_what_the_printer_takes_away(made: Made) -> None:
    for place in result_data(made)["placements"]:
        if place["decal"] != "alarms":
            continue
        width = made.prepared[1].decal.outline.box.width
        scale = 1 / (1 - 0.001) if place["turn_deg"] % 180 else 1 / (1 - 0.0027)
        assert place["on_page_mm"][0] == pytest.approx(width * scale, abs=0.01)


def test_strokes_are_told_before_and_after(text: str) -> None:
    card = text.partition('id="p1-title"')[2].partition("</article>")[0]
    assert "<td>70</td><td>0</td>" in card
    assert "70 stripped" in card


def test_what_stripping_did_to_the_look_is_shown_and_measured(made: Made, text: str) -> None:
    """A white hairline of 0.08 mm on white letters: every stem loses its width."""
    effect = result_data(made)["panels"][0]["stroke_effect"]
    assert effect["looked_at"]
    assert len(effect["stems"]) == 3
    for stem in effect["stems"]:
        assert stem["before_mm"] - stem["after_mm"] == pytest.approx(0.08, abs=0.011)
    card = text.partition('id="p1-title"')[2].partition("</article>")[0]
    assert card.count('class="close"') == 2
    assert "20 times life size" in card
    for stem in effect["stems"]:
        assert f"<td>{stem['before_mm']:.2f}</td><td>{stem['after_mm']:.2f}</td>" in card
    x0, y0, x1, y1 = effect["box_mm"]
    assert (x1 - x0, y1 - y0) == pytest.approx((6.0, 6.0))
    worst = max(effect["stems"], key=lambda stem: stem["before_mm"] / stem["after_mm"])
    middle = Box(*worst["box_mm"]).centre
    assert ((x0 + x1) / 2, (y0 + y1) / 2) == pytest.approx(middle, abs=1e-6)
    other = text.partition('id="p2-title"')[2].partition("</article>")[0]
    assert result_data(made)["panels"][1]["stroke_effect"] is None
    assert 'class="close"' not in other


def test_equal_artworks_are_measured_once_and_those_left_out_are_told(
    made: Made, monkeypatch: pytest.MonkeyPatch
) -> None:
    from decalprep import cleaning
    from decalprep.jobs import stroke_effects as effects
    from decalprep.jobs.report_strokes import effect_views

    one = made.prepared[0]
    twin = replace(one, decal=replace(one.decal, name="twin"))
    other = replace(twin, decal=replace(one.decal, name="other"), taken=one.decal.artwork)
    asked = []

    def told(before: object, after: object, **_: object) -> cleaning.StrokeEffect:
        asked.append(before)
        return cleaning.StrokeEffect(None, ())

    monkeypatch.setattr(cleaning, "stroke_effect", told)
    monkeypatch.setattr(effects, "MOST_PANELS", 1)
    found = effects.stroke_effects([one, made.prepared[1], twin, other])
    assert [(e.panel, e.not_looked_at) for e in found] == [
        (one.decal.name, False),
        ("twin", False),
        ("other", True),
    ]
    assert asked == [one.taken]
    data = {"name": "other", "stroke_effect": {"looked_at": False, "box_mm": None, "stems": []}}
    (words,) = effect_views(data, None, "p1")
    assert "this one is not among them" in words


def test_every_warning_is_there_and_each_place_has_a_picture(made: Made, tree: Tree) -> None:
    whole = "".join(tree.texts)
    for notice in result_data(made)["notices"]:
        assert notice["text"] in whole
    decals = {p["decal"] for p in result_data(made)["placements"]}
    notices = result_data(made)["notices"]
    placed = [n for n in notices if n["box_mm"] and n["subject"] in decals]
    assert len(placed) >= 2
    assert sum(t.startswith("Cut-out of ") for t in tree.texts) == len(placed)
    assert "more places have no picture" not in whole


def test_places_beyond_the_most_are_counted(made: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    from decalprep.jobs import report_places, report_views

    data, places = result_data(made), places_of(made)
    all_of_them = report_places.tell_notices(data["notices"], places, made.files["sheets.pdf"], {})
    count = sum(p is not None for told in all_of_them for p in told.pictures)
    assert sum(told.left_out for told in all_of_them) == 0
    for module in (report_places, report_views):
        monkeypatch.setattr(module, "MOST_PLACES", 1)
    told = report_places.tell_notices(data["notices"], places, made.files["sheets.pdf"], {})
    assert sum(p is not None for one in told for p in one.pictures) == 1
    shown = report_views.notices_section(told)
    assert f"{count - 1} more places have no picture here: 1 are shown at most" in shown


def test_next_steps_and_cautions(text: str) -> None:
    section = text.partition('<section id="next"')[2].partition("</section>")[0]
    for word in ("Knife", "Hot printers", "data sheets", "licensed practice", "actual size"):
        assert word in section
    assert section.count('type="checkbox"') > 8
    assert "never on equipment used in flight" in section


def test_it_says_how_many_sheets_are_needed_at_least(made: Made, text: str) -> None:
    assert f"can use fewer than {made.laid.lower_bound}" in text
    assert "0.45" in text  # the price of the one sheet


# ---------------------------------------------------------------- for everyone


def test_landmarks_headings_and_names(tree: Tree) -> None:
    names = [name for name, _ in tree.elements]
    assert names.count("main") == names.count("nav") == names.count("h1") == 1
    assert {"header", "footer"} <= set(names)
    html = tree.of("html")[0]
    assert html["lang"] == "en"
    levels = [int(name[1]) for name in names if re.fullmatch(r"h[1-6]", name)]
    assert all(b <= a + 1 for a, b in pairwise(levels)), levels
    ids = {attrs.get("id") for _, attrs in tree.elements}
    for attrs in tree.of("section", "article"):
        assert attrs["aria-labelledby"] in ids


def test_pictures_have_words(tree: Tree) -> None:
    images = tree.of("img")
    assert images
    assert all((image.get("alt") or "").strip() for image in images)
    for attrs in tree.of("svg"):
        assert attrs.get("role") in ("img", "group")


def test_controls_have_labels_and_can_be_reached(tree: Tree, text: str) -> None:
    assert len(tree.of("fieldset")) == len(tree.of("legend")) > 0
    for match in re.finditer(r"<input [^>]*>", text):
        before = text[: match.start()]
        assert before.rfind("<label") > before.rfind("</label>"), match[0]
    for attrs in tree.of("div"):
        if attrs.get("class") in ("scroll", "frame"):
            assert attrs["tabindex"] == "0"
            assert attrs["role"] == "region"
            assert attrs.get("aria-label") or attrs.get("aria-labelledby")


def test_tables_have_captions_and_scopes(tree: Tree, text: str) -> None:
    assert len(tree.of("table")) == len(tree.of("caption")) > 3
    assert all(attrs.get("scope") in ("col", "row") for attrs in tree.of("th"))


def test_switches_reach_every_layer(tree: Tree, text: str) -> None:
    """Each layer's picture kN has a switch tN, and the style knows the pair."""
    style = text.partition("<style>")[2].partition("</style>")[0]
    layers = {a["class"] for a in tree.of("img") if re.fullmatch(r"k\d+", a.get("class") or "")}
    assert len(layers) >= 6
    switches = {a.get("class") for a in tree.of("input")}
    for layer in layers:
        assert layer is not None
        switch = "t" + layer[1:]
        assert switch in switches
        assert f".card:has(.{switch}:not(:checked)) .{layer}" in style


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
def test_words_stand_out_from_their_ground(text: str, scheme: int) -> None:
    """Contrast of at least 4.5 to 1 (WCAG 2.2, success criterion 1.4.3), lines of focus 3 to 1."""
    style = text.partition("<style>")[2].partition("</style>")[0]
    block = style.split(":root {")[1 + scheme].partition("}")[0]
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", block))
    for ground in ("ground", "card"):
        for ink in ("ink", "soft", "link", "good", "warn", "bad", "focus"):
            pair = sorted((luminance(colours[ink]), luminance(colours[ground])))
            assert (pair[1] + 0.05) / (pair[0] + 0.05) >= 4.5, (ink, ground)


# ---------------------------------------------------------------- pictures


def pictures(tree: Tree, sheet: str) -> dict[str, Image.Image]:
    found = {}
    for attrs in tree.of("img"):
        alt = attrs.get("alt") or ""
        if alt.startswith(f"{sheet}, layer "):
            data = base64.b64decode((attrs["src"] or "").partition(",")[2])
            found[alt.partition(", layer ")[2]] = Image.open(io.BytesIO(data)).convert("RGBA")
    return found


def test_the_layers_laid_over_each_other_are_the_sheet(made: Made, tree: Tree) -> None:
    """The stack of layers looks as the sheet does, drawn whole by another way (150 dpi preview)."""
    layers = pictures(tree, "Sheet 1: A5 label")
    assert {"artwork", "cut outline", "screw cross", "check bar", "labels"} <= set(layers)
    size = next(iter(layers.values())).size
    stack = Image.new("RGBA", size, "white")
    for layer in layers.values():
        stack.alpha_composite(layer)
    with Image.open(io.BytesIO(made.files["sheet-1.png"])) as whole:
        small = (whole.width // 10, whole.height // 10)
        seen = whole.convert("L").resize(small, Image.Resampling.BOX)
    mine = stack.convert("L").resize(small, Image.Resampling.BOX)
    gaps = sorted(abs(a - b) for a, b in zip(seen.tobytes(), mine.tobytes(), strict=True))
    assert gaps[len(gaps) // 2] <= 1
    assert sum(gaps) / len(gaps) < 2.0


def test_a_layer_shows_nothing_of_the_others(tree: Tree) -> None:
    layers = pictures(tree, "Sheet 1: A5 label")
    shares = {}
    for name, layer in layers.items():
        cover = layer.getchannel("A").tobytes()
        shares[name] = sum(c > 0 for c in cover) / len(cover)
    assert shares["artwork"] > 0.1
    assert all(0 < shares[n] < 0.05 for n in ("cut outline", "screw cross", "check bar"))


def test_it_stays_small_enough_to_mail(made: Made) -> None:
    assert len(made.files["report.html"]) < 2_000_000


# ---------------------------------------------------------------- every word of it hostile

POISON = "\"'></title></style><script>alert(1)</script><img src=x onerror=alert(2)>\u202e\x00"


def poisoned(value: object, key: str = "") -> object:
    """The same data with poison in every text but those that are looked up."""
    if isinstance(value, dict):
        return {k: poisoned(v, k) for k, v in value.items()}
    if isinstance(value, list):
        return [poisoned(v, key) for v in value]
    if isinstance(value, str) and key != "severity":
        return value + POISON
    return value


def test_poison_in_every_text_has_no_effect(made: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    import decalprep.jobs.report as report

    data = poisoned(result_data(made))
    monkeypatch.setattr(report, "result_data", lambda _: data)
    shown = report_html(made, made.files).decode("utf-8")
    tree = Tree(shown)
    assert not tree.of("script", "iframe", "form", "object")
    assert all(not key.startswith("on") for _, attrs in tree.elements for key in attrs)
    assert len(tree.of("style")) == len(tree.of("body")) == 1
    assert all((a["src"] or "").startswith("data:image/webp") for a in tree.of("img"))
    assert "".join(tree.texts).count("<script>alert(1)</script>") > 100
    assert "\u202e" not in shown
    assert "\x00" not in shown


# ---------------------------------------------------------------- many sheets, tiles


def test_many_sheets_share_the_same_number_of_pixels() -> None:
    from decalprep.jobs.report_pictures import COARSE_DPI, dpi_for

    a4 = (210.0, 297.0)
    assert dpi_for([a4]) == dpi_for([a4] * 4) == 200
    assert dpi_for([a4] * 8) == pytest.approx(200 / 2**0.5)
    assert dpi_for([a4] * 1000) == COARSE_DPI
    assert dpi_for([(5000.0, 5000.0)]) < 26
    assert dpi_for([]) == 200


def test_tiles_are_shown_each_and_a_place_on_the_tile_that_holds_it(tmp_path: Path) -> None:
    """A panel larger than its sheets: its pictures are its tiles, marks lie on the right page."""
    (tmp_path / "a.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="260mm" height="60mm" viewBox="0 0 260 60">'
        '<rect width="260" height="60" fill="#223"/>'
        '<path d="M240 20V40" stroke="#fff" stroke-width="0.08"/></svg>'
    )
    job = (
        '[[sheet]]\nsize = "A5"\n[[panel]]\nname = "deck"\nartwork = "a.svg"\ntile = true\n'
        'safe_margin = "30 mm"\n'
    )
    (tmp_path / "job.toml").write_text(job)
    options = MakeOptions(records=tmp_path, today="2026-01-15")
    made = make_job(read_job(tmp_path / "job.toml"), options, lambda _: None)
    assert len(made.prepared[0].tiles) >= 2
    tree = Tree(made.files["report.html"].decode("utf-8"))
    shown = [a["alt"] for a in tree.of("img") if (a["alt"] or "").endswith("its cut lines")]
    assert [s.partition(" as on")[0] for s in shown if s] == list(made.prepared[0].tiles)
    placed = [n for n in result_data(made)["notices"] if n["box_mm"] and n["subject"] == "deck"]
    assert placed
    places = places_of(made)
    for notice in placed:
        box = Box(*notice["box_mm"])
        held = holding(places["deck"], box)
        assert len(held) < len(places["deck"])
        for place in held:
            assert place.decal.outline.box.grown(0.01).contains(Box(*box.centre, *box.centre))
