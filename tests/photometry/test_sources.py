"""Sources on their axis: signs, limits and refusals."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlink.photometry.sources import Disk, Point, Rectangle, Source, source_of

lengths = st.floats(0.01, 50.0)


@given(lengths, lengths)
def test_nearer_is_brighter(a: float, b: float) -> None:
    """Coming nearer is positive stops, going back the same number negative, for every source."""
    for source in (Point(), Disk(0.9), Rectangle(0.6, 0.9)):
        change = source.change_stops(a, b)
        assert (change > 0) == (b < a) or math.isclose(a, b, rel_tol=1e-6)
        assert change == pytest.approx(-source.change_stops(b, a), abs=1e-12)


@given(lengths, lengths, st.floats(0.01, 10.0))
def test_an_area_never_falls_faster_than_a_point(a: float, b: float, size: float) -> None:
    """Inverse square is the steepest law: every area source changes less."""
    point = abs(Point().change_stops(a, b))
    assert abs(Disk(size).change_stops(a, b)) <= point + 1e-12
    assert abs(Rectangle(size, size).change_stops(a, b)) <= point + 1e-9


def test_small_sources_become_points() -> None:
    """A source a thousandth of the distance behaves as a point."""
    expected = Point().change_stops(1.0, 2.0)
    assert Disk(0.001).change_stops(1.0, 2.0) == pytest.approx(expected, abs=1e-6)
    assert Rectangle(0.001, 0.001).change_stops(1.0, 2.0) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf, -math.inf, 50.001, 1e9])
def test_impossible_lengths_are_refused(bad: float) -> None:
    """Zero, negative, not-a-number and beyond 50 m raise ValueError with the allowed range."""
    for make in (Disk, lambda x: Rectangle(x, 1.0), lambda x: Rectangle(1.0, x)):
        with pytest.raises(ValueError, match="above 0 and at most 50 m"):
            make(bad)
    for source in (Point(), Disk(0.9), Rectangle(0.6, 0.9)):
        for call in (lambda s: s.change_stops(bad, 1.0), lambda s: s.change_stops(1.0, bad)):
            with pytest.raises(ValueError, match="above 0 and at most 50 m"):
                call(source)


def test_source_of_a_placement() -> None:
    """A shape with its sizes becomes a source; a missing size or an unknown shape is refused in words."""
    assert source_of("point") == Point()
    assert source_of("disk", 0.9) == Disk(0.9)
    assert source_of("rectangle", 0.35, 1.0) == Rectangle(0.35, 1.0)
    with pytest.raises(ValueError, match="size of the disk is not given"):
        source_of("disk")
    with pytest.raises(ValueError, match="height of the rectangle"):
        source_of("rectangle", 0.35)
    with pytest.raises(ValueError, match="not one of point, disk, rectangle"):
        source_of("star", 1.0)


def test_sources_compare_and_print_by_value() -> None:
    """Sources are values: equal by content, usable as keys, printed as one would write them."""
    assert len({Disk(0.9), Disk(0.9), Rectangle(0.9, 0.9), Point(), Point()}) == 3
    assert repr(Rectangle(0.35, 1.0)) == "Rectangle(0.35, 1)"
    assert Rectangle(3.0, 4.0).largest_dimension_m == pytest.approx(5.0)
    assert (Point().half_width_m, Disk(1.0).half_height_m, Rectangle(0.6, 0.9).half_height_m) == (0.0, 0.5, 0.45)
    with pytest.raises(ValueError, match="no closed form"):
        Source().change_stops(1.0, 2.0)
