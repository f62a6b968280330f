"""The part as evidence of the artwork's size: it confirms, contradicts, or gives it."""

import ezdxf
import pytest

from decalprep.errors import InputProblem, NoSize
from decalprep.geometry import Box, rectangle_path
from decalprep.intake import IntakeOptions, read_artwork
from decalprep.model import EvidenceRank, PartFace, Severity

PART = PartFace(rectangle_path(Box(0, 0, 80, 40)))


@pytest.fixture
def drawn(tmp_path):
    """A drawing of a rectangle with a circle in it, read against the part."""

    def make(width, height, insunits=4, part=PART, **said):
        doc = ezdxf.new()
        doc.header["$INSUNITS"] = insunits
        msp = doc.modelspace()
        msp.add_lwpolyline([(0, 0), (width, 0), (width, height), (0, height)], close=True)
        msp.add_circle((width / 2, height / 2), width / 20)
        doc.saveas(tmp_path / "bow.dxf")
        return read_artwork(tmp_path / "bow.dxf", IntakeOptions(**said), part=part)

    return make


def codes(artwork):
    return {n.code: n for n in artwork.notices}


def test_a_matching_part_confirms(drawn):
    artwork = drawn(80, 40)
    assert artwork.width_mm == pytest.approx(80)
    assert [e.rank for e in artwork.evidence] == [EvidenceRank.FILE_UNITS, EvidenceRank.PART]
    assert not {"part-conflict", "part-clearance", "part-not-compared"} & set(codes(artwork))


def test_a_part_that_differs_by_a_slip_is_a_danger_and_nothing_is_rescaled(drawn):
    artwork = drawn(60, 30)
    assert artwork.width_mm == pytest.approx(60)
    notice = codes(artwork)["part-conflict"]
    assert "72 dots an inch taken for 96" in notice.text
    assert notice.severity is Severity.DANGER


@pytest.mark.parametrize(("unit", "unit_mm"), [("in", 25.4), ("cm", 10.0)])  # exact by definition
def test_a_part_that_reads_as_small_as_its_unit_is_refused_until_the_unit_is_said(
    drawn, unit, unit_mm
):
    small = PartFace(rectangle_path(Box(0, 0, 80.8 / unit_mm, 40.4 / unit_mm)))
    with pytest.raises(InputProblem, match=f'part_unit = "{unit}"'):
        drawn(80, 40, part=small)
    assert "part-conflict" in codes(drawn(80, 40, part=small, unit="mm"))


def test_a_clearance_is_only_noted(drawn):
    artwork = drawn(79.4, 39.4)
    assert artwork.width_mm == pytest.approx(79.4)
    assert "0.60 mm shorter" in codes(artwork)["part-clearance"].text


def test_a_drawing_without_a_unit_takes_the_parts_size(drawn):
    artwork = drawn(8, 4, insunits=0)
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx((80, 40), rel=1e-5)
    assert artwork.evidence[0].rank is EvidenceRank.PART
    assert "sized-by-part" in codes(artwork)


def test_a_turned_part_is_recognised(drawn):
    artwork = drawn(4, 8, insunits=0)
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx((40, 80), rel=1e-5)


def test_other_proportions_say_nothing(drawn):
    assert "part-not-compared" in codes(drawn(80, 60))
    with pytest.raises(NoSize):
        drawn(80, 60, insunits=0)


def test_the_users_words_stay_first(drawn):
    artwork = drawn(8, 4, insunits=0, width_mm=76.0)
    assert artwork.width_mm == pytest.approx(76)
    assert "part-conflict" in codes(artwork)


def test_an_assumed_size_gives_way_to_the_part(tmp_path):
    path = tmp_path / "bow.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 60">'
        '<rect x="10" y="10" width="80" height="40" fill="#335"/></svg>'
    )
    artwork = read_artwork(path, part=PART)
    assert artwork.width_mm == pytest.approx(100, rel=1e-3)
    assert artwork.evidence[0].rank is EvidenceRank.PART
    assert "size-assumed" not in codes(artwork)
