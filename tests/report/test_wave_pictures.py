"""Waveforms as pictures: what is drawn is what was measured, in characters, SVG and PNG."""

from __future__ import annotations

import io
import math
import re
from typing import Any

import numpy as np
import pytest
from PIL import Image

from meterlink.errors import AnalysisError
from meterlink.photometry.shutter import Shutter
from meterlink.records import Calibration, RangeScale, Segment, WaveBlock
from meterlink.report.wave import runs_above, terminal_wave, trace_of, trace_of_samples
from meterlink.report.wave_drawing import wave_drawing
from meterlink.words.language import use

CALIBRATION = Calibration("c", "x", 0.0, 330.0, ranges=(RangeScale(2e5, 0.02),))


def exponential(t01_s: float = 1e-3, ambient_lx: float = 500.0, interval_s: float = 1e-5) -> tuple[Any, Any]:
    """Times and light of a pulse of 100 klx with an instant rise."""
    times = np.arange(-60, 400) * interval_s
    return times, ambient_lx + np.where(times >= 0, 1e5 * 10 ** (-np.maximum(times, 0) / t01_s), 0.0)


def block(**fields: Any) -> WaveBlock:
    """The same as a sensor sends it, in 8 bits."""
    times, light = exponential()
    codes = np.clip(np.floor((light / 2e5 + 0.02) * 256), 0, 255).astype("u1")
    base: dict[str, Any] = {"at_s": 1.0, "pop": 1, "data": codes.tobytes(), "bits": 8, "scale_bits": 8,
                            "segments": (Segment(0, len(times), 1e-5),), "pretrigger": 60}  # fmt: skip
    return WaveBlock(**{**base, **fields})


def test_bars_have_the_lengths_of_the_durations() -> None:
    """Stretches above half and a tenth of an exponential are t0.5 and t0.1 = 3.32 t0.5 long (closed form ln 10 / ln 2)."""
    trace = trace_of_samples(*exponential(), "KEY")

    ((a, b),), ((c, d),) = runs_above(trace, 0.5), runs_above(trace, 0.1)

    assert d - c == pytest.approx(1e-3, rel=0.03)
    assert (d - c) / (b - a) == pytest.approx(math.log(10) / math.log(2), rel=0.05)


def test_several_humps_have_a_bar_each() -> None:
    """Two separate pulses of one pop are two stretches above half of the peak."""
    times = np.arange(-100, 900) * 1e-5
    light = 100.0 + 1e5 * np.exp(-(((times - 1e-3) / 3e-4) ** 2)) + 8e4 * np.exp(-(((times - 4e-3) / 3e-4) ** 2))

    runs = runs_above(trace_of_samples(times, light), 0.5)

    assert len(runs) == 2
    assert runs[1][0] - runs[0][0] == pytest.approx(3e-3, abs=1e-4)


def test_a_pulse_that_the_record_cuts_off_has_its_bar_up_to_the_end() -> None:
    """Of a flash that is still above a tenth when the record ends the bar is as long as its t0.1; one may begin with the record."""
    times, light = exponential(t01_s=6e-3)
    trace = trace_of_samples(times, light)

    ((start, end),) = runs_above(trace, 0.1)
    ((begin, _),) = runs_above(trace._replace(times_s=trace.times_s[70:], light_lx=trace.light_lx[70:]), 0.5)

    assert begin == trace.times_s[70]
    assert end - start == pytest.approx(trace.pulse.t01_s, rel=0.01)


def test_terminal_picture_names_levels_and_durations() -> None:
    """A few lines of characters with peak, 50 %, 10 %, ambient and both durations, none wider than a terminal."""
    text = terminal_wave(block(), CALIBRATION)

    for word in ("peak", "50 %", "10 %", "ambient", "t0.5 1/", "t0.1 1/"):
        assert word in text
    assert max(len(line) for line in text.splitlines()) <= 79
    assert len(text.splitlines()) <= 12
    assert any(0x2800 < ord(char) <= 0x28FF for char in text)


def test_terminal_curve_rises_once_and_falls() -> None:
    """Dots of the curve stand where the light was: top row only around the peak, bottom row before and after."""
    rows = terminal_wave(trace_of_samples(*exponential())).splitlines()[:7]
    inked = [[i for i, char in enumerate(row) if ord(char) > 0x2800 and 0x2800 <= ord(char) <= 0x28FF] for row in rows]

    assert max(inked[0]) < 24
    assert inked[0][0] <= inked[2][-1]


@pytest.mark.parametrize(
    "bad",
    [
        block(data=b"", segments=(), pretrigger=0),
        block(data=bytes(460)),
        block(range_index=9),
        block(bits=16, data=b"\xff" * 920, scale_bits=10),
        block(pretrigger=5000),
    ],
    ids=["empty", "dark", "unknown range", "beyond full scale", "trigger beyond the end"],
)
def test_waveforms_that_cannot_be_drawn_say_why(bad: Any) -> None:
    """In the terminal one line in words, in the library an AnalysisError; never a trace."""
    line = terminal_wave(bad, CALIBRATION)

    assert line.startswith("  (no picture: ")
    assert "\n" not in line
    with pytest.raises(AnalysisError):
        trace_of(bad, CALIBRATION)


@pytest.mark.parametrize(
    ("times", "light"),
    [([], []), ([0.0] * 20, [1.0] * 20), (list(range(20, 0, -1)), [1.0] * 20), (list(range(20)), [math.nan] * 20),
     (list(range(20)), [-5.0] * 20), (list(range(20)), [7.0] * 20)],
    ids=["empty", "time stands", "time runs back", "nan", "negative", "constant"],
)  # fmt: skip
def test_samples_from_which_nothing_follows_are_refused(times: list[float], light: list[float]) -> None:
    """Empty, reversed, constant, negative and NaN samples are one clear line that says what to do."""
    with pytest.raises(AnalysisError, match="one more pop"):
        trace_of_samples(times, light, "KEY")


def test_drawing_shows_levels_durations_and_shutter() -> None:
    """One light: lx, its levels, both durations, and where the first rows are covered."""
    trace = trace_of_samples(*exponential(4e-3, interval_s=2e-5), "KEY")

    svg = wave_drawing([trace], shutter=Shutter("focal-plane", 1 / 256, 0.0032), title="Set: KEY").svg()

    peak = re.search(r"peak ([0-9.]+) klx", svg)
    assert peak is not None
    assert float(peak[1]) == pytest.approx(100.0, rel=0.02)
    for word in ("50 %", "10 %", "ambient 500 lx", "t0.1 1/250 s", "first rows covered", "shutter 1/250 s"):
        assert word in svg


def test_shutter_beyond_the_picture_is_said_in_words() -> None:
    """A window that ends after the pulse is no line but a sentence."""
    trace = trace_of_samples(*exponential(), "KEY")

    assert "beyond the picture" in wave_drawing([trace], shutter=Shutter("leaf", 1 / 64)).svg()


def test_several_lights_differ_by_line_style_and_name_not_by_colour_alone() -> None:
    """Three lights: three names, three different dash patterns, scaled to their own peaks."""
    traces = [trace_of_samples(*exponential(t), name) for t, name in ((1e-3, "KEY"), (2e-3, "FILL"), (5e-4, "HAIR"))]

    drawing = wave_drawing(traces)

    curves = [shape for shape in drawing.shapes if shape.kind == "line" and len(shape.points) > 50]
    assert len({shape.dash for shape in curves}) == 3
    texts = [shape.text for shape in drawing.shapes if shape.kind == "text"]
    assert {"KEY", "FILL", "HAIR"} <= set(texts)
    assert "part of each light's own peak" in texts


def test_texts_from_outside_are_escaped() -> None:
    """A light's name with markup stays text in the SVG."""
    trace = trace_of_samples(*exponential(), "<b>&\"'")

    svg = wave_drawing([trace, trace._replace(name="FILL")], title="<script>").svg()

    assert "<b>" not in svg
    assert "<script>" not in svg


def test_everything_stays_inside_the_picture() -> None:
    """No line, area or text lies outside of the drawing, from one light to twelve."""
    trace = trace_of_samples(*exponential(), "A LIGHT OF LONG NAME")
    for count in (1, 2, 12):
        drawing = wave_drawing([trace] * count, shutter=Shutter("focal-plane", 1 / 4000, 0.003), title="A set-up")
        for shape in drawing.shapes:
            for x, y in shape.points if shape.kind != "circle" else shape.points[:1]:
                assert 0 <= x <= drawing.width, shape
                assert 0 <= y <= drawing.height, shape


def test_png_holds_ink_where_the_peak_is() -> None:
    """The PNG opens and has a dark pixel near the top of the plot at the time of the peak, none there later."""
    drawing = wave_drawing([trace_of_samples(*exponential(), "KEY")])
    image = Image.open(io.BytesIO(drawing.png(1.0))).convert("L")
    pixels = np.asarray(image)

    top = pixels[40:70, 56:400]
    dark = np.nonzero((top < 90).any(axis=0))[0]
    assert image.size == (520, round(drawing.height))
    assert dark.size > 0
    assert dark.max() < 110


def test_numbers_in_svg_are_plain() -> None:
    """No nan or inf gets into a picture."""
    svg = wave_drawing([trace_of_samples(*exponential(), "KEY")]).svg()

    assert not re.search(r"\b(nan|inf)\b", svg)


def test_a_german_picture_has_german_words_and_decimal_commas() -> None:
    """Ticks, levels, durations and the shutter's line: no decimal point, no English."""
    use("de")
    svg = wave_drawing([trace_of_samples(*exponential())], shutter=Shutter("focal-plane", 1 / 512, 0.001)).svg()
    texts = re.findall(r"<text[^>]*>([^<]*)", svg)

    assert any("," in text for text in texts)
    assert not [text for text in texts if re.search(r"\d\.\d", text.replace("t0.1", "").replace("t0.5", ""))]
    assert not [text for text in texts if re.search("peak|ambient|shutter|rows|covered|thick", text)]
