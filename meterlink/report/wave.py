"""The waveform of a flash as a picture: levels at ambient, half and a tenth of the peak, both durations, the shutter's window.

``trace_of`` prepares a captured block once; ``terminal_wave`` shows it in a few lines of characters, ``wave_drawing`` as a
drawing (SVG or PNG) in which several lights may lie over one another, each scaled to its own peak.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from meterlink.errors import AnalysisError, CalibrationError
from meterlink.photometry import flash
from meterlink.photometry.flash import FlashPulse
from meterlink.records import Calibration, WaveBlock
from meterlink.sensor.measuring.flash import wave_of, why_none
from meterlink.words.language import say
from meterlink.words.told import written

DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
"""Bits of a braille character, by row and column of its eight dots (Unicode block 2800)."""
BLANK = 0x2800
WIDTH, HEIGHT = 60, 7
"""Characters of the curve in a terminal."""
TERMINAL = 79
"""Columns that every terminal has."""


class Trace(NamedTuple):
    """A waveform ready to be drawn."""

    name: str
    times_s: tuple[float, ...]
    """From the first rise through a tenth of the peak: negative before it."""
    light_lx: tuple[float, ...]
    """Ambient light included."""
    pulse: FlashPulse
    """What the analysis says of it."""

    def level_lx(self, part: float) -> float:
        """Return the level at a part of the peak above ambient."""
        return self.pulse.ambient_lx + part * self.pulse.peak_lx

    @property
    def window_s(self) -> tuple[float, float]:
        """The stretch of time worth seeing: the pulse with some quiet on both sides."""
        length = max(self.pulse.end_s - self.pulse.start_s, 1e-6)
        return max(self.times_s[0], -0.2 * length), min(self.times_s[-1], 1.35 * length)


def trace_of(block: WaveBlock, calibration: Calibration | None) -> Trace:
    """Return a captured flash ready to be drawn.

    Raises:
        AnalysisError: there is no calibration, or no flash stands out of it.
    """
    if calibration is None:
        raise AnalysisError("there is no waveform to draw: this sensor sends none, or it was not kept; take one more pop")
    try:
        times, light = wave_of(block, calibration)
    except CalibrationError as error:
        raise AnalysisError(error.message, **error.values) from error
    except (IndexError, ValueError) as error:
        raise AnalysisError("the waveform is damaged: take one more pop") from error
    return trace_of_samples(times, light)


def trace_of_samples(times_s: Any, light_lx: Any, name: str = "") -> Trace:
    """Return samples (times in s, light in lx) ready to be drawn.  Raises AnalysisError when no flash is in them."""
    import numpy as np

    times, light = np.asarray(times_s, dtype=float), np.asarray(light_lx, dtype=float)
    who = f"{name}: " if name else ""
    try:
        pulse = flash.analyse(light, times - times[0] if times.size else times)
    except flash.NoPulse as why:
        raise AnalysisError("{who}{error}: take one more pop", who=who, error=why_none(why)) from why
    except ValueError as error:
        raise AnalysisError("{who}{error}: take one more pop", who=who, error=error) from error
    if pulse.kind == "steady" or not pulse.peak_lx > 0.0:
        raise AnalysisError("{who}no flash stands out of the room's light in this waveform: take one more pop", who=who)
    zero = float(times[0]) + pulse.start_s
    return Trace(name, tuple((times - zero).tolist()), tuple(light.tolist()), pulse)


def runs_above(trace: Trace, part: float) -> list[tuple[float, float]]:
    """Return the stretches of time (from, to) in s above a part of the peak, for bars in a picture."""
    import numpy as np

    level = trace.level_lx(part)
    times, light = np.array(trace.times_s), np.array(trace.light_lx)
    above = light >= level
    # The record may begin or end above the level.
    k = np.flatnonzero(above[1:] != above[:-1])
    crossed = times[k] + (level - light[k]) / (light[k + 1] - light[k]) * (times[k + 1] - times[k])
    ends = [*trace.times_s[: int(above[0])], *crossed.tolist(), *trace.times_s[len(times) - int(above[-1]) :]]
    runs = list(zip(ends[::2], ends[1::2], strict=True))

    def lowest(from_s: float, to_s: float) -> float:
        """The lowest mean of five neighbours between two moments: a gap in a flank, not the noise in it."""
        means = [light[max(0, i - 2) : i + 3].mean() for i in range(*np.searchsorted(times, (from_s, to_s)))]
        return float(min(means, default=trace.level_lx(1.0)))

    # What noise parts belongs together; what noise lifts above the level for a moment does not count.
    margin, least = 2.5 * trace.pulse.noise_lx, 0.03 * max(trace.pulse.end_s - trace.pulse.start_s, 1e-9)
    joined: list[tuple[float, float]] = []
    for run in runs:
        if joined and (run[0] - joined[-1][1] < least or lowest(joined[-1][1], run[0]) > level - margin):
            joined[-1] = (joined[-1][0], run[1])
        else:
            joined.append(run)
    found = [run for run in joined if run[1] - run[0] >= least] or joined[:1]
    said = {0.5: trace.pulse.t05_s, 0.1: trace.pulse.t01_s}.get(part)
    if len(found) == 1 and said:
        # One hump: the picture shows what the analysis says, which looks through the noise of a slow tail.
        found = [(found[0][0], found[0][0] + said)]
    return found


def sampled(trace: Trace, low_s: float, high_s: float, count: int) -> list[tuple[float, float]]:
    """Return (lowest, highest) light in each of ``count`` equal slices of time, straight between samples."""
    import numpy as np

    edges = np.linspace(low_s, high_s, count + 1)
    at_edges = np.interp(edges, trace.times_s, trace.light_lx).tolist()
    first = np.searchsorted(trace.times_s, edges).tolist()
    slices = [(*at_edges[k : k + 2], *trace.light_lx[first[k] : first[k + 1]]) for k in range(count)]
    return [(min(one), max(one)) for one in slices]


def terminal_wave(wave: WaveBlock | Trace, calibration: Calibration | None = None) -> str:
    """Return a pop as a few lines of braille: the curve, marks at peak, 50 %, 10 % and ambient, both durations below.

    A waveform that cannot be drawn gives one line that says why, never an error: it stands beside a reading that counts.
    The curve is narrowed until its labels stand within 79 columns.
    """
    try:
        trace = wave if isinstance(wave, Trace) else trace_of(wave, calibration)
    except AnalysisError as error:
        return "  " + say("(no picture: {error})", error=error)
    low, high = trace.window_s
    labels = _level_labels(trace)
    width = max(16, min(WIDTH, TERMINAL - 3 - max(map(len, labels.values()))))
    canvas = _canvas(trace, low, high, width)
    lines = [f"  {''.join(chr(BLANK + bits) for bits in row)} {labels.get(i, '')}".rstrip() for i, row in enumerate(canvas)]
    for part, value, text in ((0.5, trace.pulse.t05_s, "t0.5"), (0.1, trace.pulse.t01_s, "t0.1")):
        said = f"{text} {written(value, 'duration')}" if value else say("{what} cannot be told", what=text)
        lines.append(f"  {_bar(trace, part, low, high, width)} {said}")
    lines.append(f"  {_scale(low, high, width)}")
    return "\n".join(lines)


def _canvas(trace: Trace, low: float, high: float, width: int) -> list[list[int]]:
    """Braille bits of the curve, with dotted lines at half and a tenth of the peak."""
    rows = HEIGHT * 4
    base, top = trace.pulse.ambient_lx, trace.pulse.ambient_lx + trace.pulse.peak_lx * 1.03

    def row_of(value: float) -> int:
        return min(rows - 1, max(0, round((top - value) / (top - base) * (rows - 1))))

    canvas = [[0] * width for _ in range(HEIGHT)]
    for x, (least, most) in enumerate(sampled(trace, low, high, width * 2)):
        for y in range(row_of(most), row_of(least) + 1):
            canvas[y // 4][x // 2] |= DOTS[y % 4][x % 2]
    for part in (0.5, 0.1):
        y = row_of(trace.level_lx(part))
        for x in range(0, width * 2, 4):
            canvas[y // 4][x // 2] |= DOTS[y % 4][x % 2]
    return canvas


def _level_labels(trace: Trace) -> dict[int, str]:
    def line(part: float) -> int:
        return min(HEIGHT - 1, round((1.03 - part) / 1.03 * (HEIGHT * 4 - 1)) // 4)

    # Ambient and a tenth may share a line: then both are said there.
    labels = {line(1.0): f"{say('peak')} {written(trace.pulse.peak_lx, 'lx')}"}
    for part, text in ((0.5, "50 %"), (0.1, "10 %"), (0.0, f"{say('ambient')} {written(trace.pulse.ambient_lx, 'lx')}")):
        labels[line(part)] = ", ".join(one for one in (labels.get(line(part), ""), text) if one)
    return labels


def _bar(trace: Trace, part: float, low: float, high: float, width: int) -> str:
    cells = [" "] * width
    for a, b in runs_above(trace, part):
        first = min(width - 1, max(0, int((a - low) / (high - low) * width)))
        last = min(width - 1, max(first, int((b - low) / (high - low) * width)))
        for i in range(first, last + 1):
            cells[i] = "─"
        cells[first] = "├" if last > first else "│"
        if last > first:
            cells[last] = "┤"
    return "".join(cells)


def _scale(low: float, high: float, width: int) -> str:
    """The time axis: its two ends and where the pulse begins."""
    left, right = (f"{written(s * 1000, form)} ms" for s, form in ((low, ".2g"), (high, ".3g")))
    zero = min(width - 1, max(0, int(-low / (high - low) * width)))
    line = list(" " * width)
    line[width - len(right) :] = list(right)
    if zero >= len(left) + 1:
        line[: len(left)] = list(left)
    line[zero] = "0"
    return "".join(line).rstrip()
