"""Plots of measured falloff and of a head over its power."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from meterlink.errors import StorageError, UsageError
from meterlink.judging.fixture_curves import FixtureCurves, curves_of
from meterlink.judging.prediction import Past
from meterlink.photometry.falloff import FalloffFit, FalloffPoint, fit_falloff
from meterlink.records import Light, Placement, Reading
from meterlink.report.axes import Axes, Box, round_ticks, style_of
from meterlink.report.drawing import Drawing
from meterlink.report.plots import drift_drawing, drift_lines, falloff_drawing


@pytest.fixture
def fit() -> FalloffFit:
    """A source that seems 12 cm behind its front."""
    return fit_falloff([FalloffPoint(d, 5 - 2 * math.log2(d + 0.12) + e, 0.03) for d, e in ((0.6, 0.02), (0.9, -0.03), (2.0, 0.0))])


def head(*powers: float) -> FixtureCurves:
    """A cut-off head read at these powers."""
    pasts = []
    for power in powers:
        place = Placement(f"p{power}", "l", 1.0, distance_m=1.2, azimuth_deg=30.0, power_stops=power)
        read = Reading(str(power), "e", "l", place.id, "c", "x", 1.0, t01_s=1 / 800 * 2.0 ** (power * 0.6),
                       cct_k=5400 - 60 * power, duv=0.002)  # fmt: skip
        pasts.append(Past(Light("l", "e", "A", "key", fixture="head A"), place, read, 7.0 + power, 0.03))
    return curves_of(pasts, "head A")


def texts(drawing: Drawing) -> list[str]:
    """All texts of a drawing."""
    return [shape.text for shape in drawing.shapes if shape.kind == "text"]


def test_ticks_are_round_and_inside() -> None:
    """Ticks are 1, 2 or 5 times a power of ten apart and never outside of the range."""
    assert round_ticks(0.0, 10.0) == pytest.approx([0, 2, 4, 6, 8, 10])
    assert round_ticks(-0.3, 0.34, 6) == pytest.approx([-0.2, 0.0, 0.2])
    with pytest.raises(ValueError, match="no ticks"):
        round_ticks(1.0, 1.0)


def test_twelve_lines_differ_without_colour() -> None:
    """No two of the first twelve line styles share their dashes."""
    assert len({style_of(index)[1] for index in range(12)}) == 12


def test_axes_map_values_and_keep_them_inside() -> None:
    """Ends of the ranges lie at the box's edges, values beyond stay at them, the middle of a log axis is the geometric mean."""
    axes = Axes(Drawing(100, 100), Box(10, 20, 90, 80), (1.0, 100.0), (0.0, 4.0), log_x=True)

    assert axes.at(1.0, 0.0) == (10, 80)
    assert axes.at(100.0, 4.0) == (90, 20)
    assert axes.x(10.0) == pytest.approx(50)
    assert axes.at(1e9, -5.0) == (90, 80)


def test_falloff_shows_readings_curve_and_residuals(fit: FalloffFit) -> None:
    """Every reading is a ring in both panels; law, usable range and inverse square are named."""
    drawing = falloff_drawing(fit, "octa <90>")

    rings = [shape for shape in drawing.shapes if shape.kind == "circle"]
    assert len(rings) == 2 * 3 + 1
    said = " ".join(texts(drawing))
    for word in ("octa <90>", "behind the front", "may be used from", "inverse square from the front", "reading less curve"):
        assert word in said
    assert "octa &lt;90&gt;" in drawing.svg()
    for shape in drawing.shapes:
        for x, y in shape.points[:1]:
            assert 0 <= x <= drawing.width
            assert 0 <= y <= drawing.height


def test_falloff_is_written_by_its_ending(fit: FalloffFit, tmp_path: Path) -> None:
    """.png and .svg are written, another ending and a missing folder are refused in one line."""
    falloff_drawing(fit, "octa").write(tmp_path / "a.png")
    falloff_drawing(fit, "octa").write(tmp_path / "a.svg")
    assert (tmp_path / "a.png").read_bytes().startswith(b"\x89PNG")
    assert (tmp_path / "a.svg").read_text().startswith("<svg")
    with pytest.raises(UsageError):
        falloff_drawing(fit, "octa").write(tmp_path / "a.pdf")
    with pytest.raises(StorageError):
        falloff_drawing(fit, "octa").write(tmp_path / "none" / "a.png")


def test_drift_has_a_panel_for_what_is_known() -> None:
    """Colour, duration and delivered light over power, each with a ring a power."""
    drawing = drift_drawing(head(0.0, -1.0, -2.0, -4.0))

    assert len([shape for shape in drawing.shapes if shape.kind == "circle"]) == 12
    said = " ".join(texts(drawing))
    for word in ("mired", "t0.1", "dial", "1/16", "full"):
        assert word in said


def test_drift_needs_two_powers() -> None:
    """One power gives no curve: refused for a picture, no lines in the terminal."""
    with pytest.raises(ValueError, match="two powers"):
        drift_drawing(head(-1.0))
    assert drift_lines(head(-1.0)) == []


def test_drift_in_the_terminal_goes_one_way() -> None:
    """Higher CCT lies to the left: at low power this head's mark is left of that at full."""
    lines = drift_lines(head(0.0, -2.0, -4.0))
    marks = [line.index("o", 14) for line in lines if " K" in line]

    assert marks == sorted(marks)
    assert "5640 K" in "\n".join(lines)
    assert "1/800 s" in "\n".join(lines)
