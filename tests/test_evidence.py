"""The true size from ranked claims, and what is told when they disagree."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decalprep.errors import InputProblem, NoSize, TooMuch, UsageProblem
from decalprep.intake import IntakeOptions, KnownDistance, settle_size
from decalprep.model import EvidenceRank, Severity, SizeEvidence

PAGE = (300.0, 150.0)


def claim(width_mm, height_mm, rank=EvidenceRank.FILE_UNITS, reason="its own units"):
    return SizeEvidence(rank, width_mm, height_mm, reason)


def settle(claims, page_size=PAGE, **said):
    return settle_size(claims, IntakeOptions(**said), page_size=page_size, name="bow.svg")


def only(size, code):
    (notice,) = [n for n in size.notices if n.code == code]
    return notice


def test_nothing_known_is_refused_with_what_to_do():
    with pytest.raises(NoSize, match=r'bow\.svg: nothing says how large.*width = "80 mm"'):
        settle([])


def test_the_strongest_claim_is_taken():
    size = settle(
        [claim(90, 45, EvidenceRank.FILE_DENSITY), claim(80, 40, EvidenceRank.PART, "the part")]
    )
    assert (size.width_mm, size.height_mm) == (80, 40)
    assert [e.rank for e in size.evidence] == [EvidenceRank.PART, EvidenceRank.FILE_DENSITY]
    assert only(size, "size-conflict").severity is Severity.WARNING


def test_of_equal_rank_the_first_is_taken_and_the_other_told():
    size = settle([claim(80, 40, reason="EXIF"), claim(60, 30, reason="JFIF")])
    assert size.width_mm == 80
    assert "72 dots an inch taken for 96" in only(size, "size-conflict").text


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({"width_mm": 80.0}, (80.0, 40.0)),
        ({"height_mm": 80.0}, (160.0, 80.0)),
        ({"scale": 0.5}, (50.0, 25.0)),
        ({"width_mm": 80.0, "height_mm": 40.0}, (80.0, 40.0)),
        ({"known_distance": KnownDistance(0, 0, 300, 0, 120.0)}, (120.0, 60.0)),
        ({"known_distance": KnownDistance(0, 0, 0, 150, 120.0)}, (240.0, 120.0)),
    ],
)
def test_the_users_words_rule(said, expected):
    size = settle([claim(100, 50)], **said)
    assert (size.width_mm, size.height_mm) == pytest.approx(expected, abs=1e-12)
    assert size.evidence[0].rank is EvidenceRank.USER


def test_the_aspect_is_the_claims_where_pixels_are_not_square():
    """A page of 300 x 150 pixels whose density says that it is truly square."""
    size = settle([claim(100, 100, EvidenceRank.FILE_DENSITY)], width_mm=50.0)
    assert (size.width_mm, size.height_mm) == (50.0, 50.0)


def test_width_alone_without_any_claim_takes_the_pages_aspect():
    assert settle([], width_mm=90.0).height_mm == 45.0


def test_a_known_distance_needs_no_claim():
    size = settle([], known_distance=KnownDistance(30, 30, 270, 30, 96.0))
    assert (size.width_mm, size.height_mm) == pytest.approx((120.0, 60.0))


def test_a_short_known_distance_is_told():
    size = settle([], known_distance=KnownDistance(0, 0, 15, 0, 6.0))
    assert "choose points further apart" in only(size, "short-known-distance").text


def test_points_that_coincide_are_refused():
    with pytest.raises(UsageProblem, match="coincide"):
        settle([], known_distance=KnownDistance(5, 5, 5, 5, 10.0))


def test_scale_without_a_size_is_refused():
    with pytest.raises(NoSize, match="no size to multiply"):
        settle([], scale=2.0)


def test_a_stated_scale_is_only_noted():
    assert only(settle([claim(100, 50)], scale=0.5), "size-conflict").severity is Severity.NOTE


def test_stretching_is_refused_with_the_height_that_follows():
    with pytest.raises(InputProblem, match=r"\+25\.00 % in height.*height is then 40\.00 mm"):
        settle([claim(100, 50)], width_mm=80.0, height_mm=50.0)


def test_stretching_can_be_allowed_and_stays_a_danger():
    size = settle([claim(100, 50)], width_mm=80.0, height_mm=50.0, allow_stretch=True)
    assert (size.width_mm, size.height_mm) == (80.0, 50.0)
    assert only(size, "stretched").severity is Severity.DANGER


def test_a_slight_stretch_is_a_warning():
    size = settle([claim(100, 50)], width_mm=100.0, height_mm=50.05)
    assert only(size, "stretched").severity is Severity.WARNING


def test_the_users_own_words_must_agree():
    with pytest.raises(InputProblem, match="your own statements disagree"):
        settle([claim(100, 50)], width_mm=80.0, scale=0.9)


def test_within_a_fifth_of_a_percent_nothing_is_told():
    assert settle([claim(100.0, 50.0), claim(100.19, 50.0)]).notices == ()


@pytest.mark.parametrize(
    ("ratio", "word"),
    [
        (0.75, "72 dots an inch taken for 96"),
        (90 / 96, "90 dots an inch"),
        (25.4, "inches taken for millimetres, reversed"),
        (1 / 25.4, "inches taken for millimetres"),
        (0.1, "centimetres"),
        (72 / 72.27, "72.27"),
        (0.940741, "A4 page fitted to Letter"),
    ],
)
def test_a_known_slip_is_named_but_never_applied(ratio, word):
    size = settle([claim(100 * ratio, 50 * ratio)], width_mm=100.0)
    assert size.width_mm == 100.0
    assert word in only(size, "size-conflict").text


def test_at_most_three_causes_are_named():
    size = settle([claim(95.2, 47.6)], width_mm=100.0)
    assert only(size, "size-conflict").text.count(" or ") <= 2


def test_an_unknown_ratio_names_no_cause():
    assert "cause" not in only(settle([claim(61.8, 30.9)], width_mm=100.0), "size-conflict").text


def test_a_turned_page_is_recognised():
    size = settle([claim(100, 50), claim(50, 100)])
    assert "the page is turned" in only(size, "size-conflict").text


def test_a_page_stretched_over_another_is_recognised():
    size = settle([claim(210.0, 297.0), claim(215.9, 279.4)])
    assert "A4 page stretched over Letter" in only(size, "size-conflict").text


def test_a4_of_whole_points_scaled_to_a4_in_mm_is_told():
    """595 x 842 pt is 209.903 x 297.039 mm: 'width 210 mm' would enlarge everything by 0.046 %."""
    points = (595.0, 842.0)
    own = claim(595 * 25.4 / 72, 842 * 25.4 / 72)
    size = settle([own], page_size=points, width_mm=210.0)
    assert "+0.046 %" in only(size, "rounded-page").text
    assert settle([own], page_size=points).notices == ()


def test_an_assumption_is_told_and_carries_no_weight():
    assumed = claim(100, 50, EvidenceRank.ASSUMED, "no unit; px taken")
    assert "check one length" in only(settle([assumed]), "size-assumed").text
    assert only(settle([assumed], width_mm=80.0), "size-conflict").severity is Severity.NOTE


@pytest.mark.parametrize("width_mm", [0.0, -1.0, math.nan, math.inf])
def test_a_width_that_is_no_length_is_refused(width_mm):
    with pytest.raises((UsageProblem, InputProblem)):
        settle([claim(100, 50)], width_mm=width_mm)


def test_sizes_beyond_the_limits_are_refused():
    with pytest.raises(TooMuch, match="beyond 5080 mm"):
        settle([claim(6000, 50)])
    with pytest.raises(InputProblem, match=r"under 0\.5 mm"):
        settle([claim(100, 0.1)])


@pytest.mark.parametrize("page_size", [(0.0, 10.0), (10.0, math.nan), (-1.0, 5.0)])
def test_a_page_without_area_is_refused(page_size):
    with pytest.raises(InputProblem, match="no area"):
        settle([claim(100, 50)], page_size=page_size)


@settings(max_examples=40, deadline=None)
@given(st.floats(1, 2000), st.floats(1, 2000), st.floats(0.1, 10), st.floats(0, 1), st.floats(0, 1))
def test_a_distance_on_the_page_comes_out_as_said(width, height, mm_a_pt, x, y):
    """Whatever the page, the named distance measures what the user said it does."""
    known = KnownDistance(0, 0, width * (0.1 + 0.9 * x), height * y, mm_a_pt * 100)
    try:
        size = settle([], page_size=(width, height), known_distance=known)
    except (TooMuch, InputProblem):
        return
    across = known.x2_pt * size.width_mm / width
    up = known.y2_pt * size.height_mm / height
    assert math.hypot(across, up) == pytest.approx(known.distance_mm, rel=1e-12)
