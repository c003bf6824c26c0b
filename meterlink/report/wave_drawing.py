"""Waveforms of one or several lights as a drawing."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from meterlink.photometry.shutter import Shutter, window_s
from meterlink.report.axes import Axes, Box, style_of
from meterlink.report.drawing import FAINT, INK, Drawing
from meterlink.report.wave import Trace, runs_above, sampled
from meterlink.words.language import marked, say
from meterlink.words.told import written

LEFT, RIGHT, TOP = 52.0, 112.0, 34.0
PLOT_HEIGHT, ROW_HEIGHT = 190.0, 22.0
SLICES = 360
MOST_LIGHTS = 12
"""A line's style tells so many apart."""
CLOSED = "#eeeeee"
KINDS = (marked("focal-plane"), marked("leaf"), marked("electronic"))


def wave_drawing(traces: Sequence[Trace], *, shutter: Shutter | None = None, title: str = "", width: float = 520.0) -> Drawing:
    """Return the picture: one light in lx, several each as part of its own peak; their durations as bars below.

    ``shutter`` adds where the frame is covered again, first and last row.
    """
    bottom = TOP + PLOT_HEIGHT
    drawing = Drawing(width, bottom + 34.0 + ROW_HEIGHT * len(traces) + 8.0, title or say("waveform of the flash"))
    low = min(trace.window_s[0] for trace in traces)
    high = max(trace.window_s[1] for trace in traces)
    alone = len(traces) == 1
    axes = _axes(drawing, traces, (low, high), Box(LEFT, TOP, width - RIGHT, bottom))
    if title:
        drawing.text((LEFT - 34, 14), title, 10)
    if shutter is not None:
        _shutter_window(axes, shutter)
    axes.frame(
        lambda ms: written(ms, "g"),
        _short if alone else (lambda v: f"{v * 100:.0f} %"),
        x_title=say("ms from the first rise through 10 %"),
        y_title="lx" if alone else say("part of each light's own peak"),
    )
    _levels(axes, traces[0] if alone else None)
    for index, trace in enumerate(traces):
        _curve(axes, trace, index, low, high, alone=alone)
    _names(axes, traces)
    _bars(axes, traces, bottom + 34.0)
    return drawing


def _axes(drawing: Drawing, traces: Sequence[Trace], window: tuple[float, float], box: Box) -> Axes:
    x_range = (window[0] * 1000.0, window[1] * 1000.0)
    if len(traces) > 1:
        return Axes(drawing, box, x_range, (-0.04, 1.08))
    trace = traces[0]
    top, least = trace.level_lx(1.08), min(0.0, min(trace.light_lx))
    return Axes(drawing, box, x_range, (least, top))


def _short(value: float) -> str:
    """``400k`` for 400,000: lux of a flash are many digits."""
    if abs(value) >= 1e6:
        return f"{value / 1e6:g}M"
    return f"{value / 1000:g}k" if abs(value) >= 1000 else f"{value:g}"


def _levels(axes: Axes, trace: Trace | None) -> None:
    """Lines at half and a tenth of the peak, and at ambient, each with its name at the right."""
    for part, text in ((1.0, say("peak")), (0.5, "50 %"), (0.1, "10 %"), (0.0, say("ambient"))):
        value = trace.level_lx(part) if trace is not None else part
        y = axes.y(value)
        if part < 1.0:
            axes.drawing.line([(axes.box.left, y), (axes.box.right, y)], FAINT, 0.9, (3, 3) if part else (1, 2))
        if trace is None:
            if part < 1.0:
                axes.drawing.text((axes.box.right + 5, y + 3), text, 8)
            continue
        lux = trace.pulse.peak_lx if part == 1.0 else value
        said = f"{text} {written(lux, 'lx')}" if part in (0.0, 1.0) else text
        # Ambient lies close below a tenth: its text stands below the line.
        axes.drawing.text((axes.box.right + 5, y + (3 if part else 10)), said, 8)


def _curve(axes: Axes, trace: Trace, index: int, low: float, high: float, *, alone: bool) -> None:
    low, high = max(low, trace.times_s[0]), min(high, trace.times_s[-1])
    slices = sampled(trace, low, high, SLICES)
    points: list[tuple[float, float]] = []
    for k, (least, most) in enumerate(slices):
        ms = (low + (high - low) * (k + 0.5) / SLICES) * 1000.0
        # A slice that holds a flank is drawn through both of its ends, so that no peak is cut off.
        rising = k == 0 or least >= slices[k - 1][0]
        both = (least, most) if rising else (most, least)
        points += [(ms, value if alone else (value - trace.pulse.ambient_lx) / trace.pulse.peak_lx) for value in both]
    axes.curve([point for point, _ in groupby(points)], index)


def _names(axes: Axes, traces: Sequence[Trace]) -> None:
    """Name of each light beside a sample of its line."""
    if len(traces) == 1:
        return
    for index, trace in enumerate(traces):
        colour, dash, width = style_of(index)
        y = axes.box.top + 10 + 12 * index
        if y > axes.y(0.5) - 10:
            y += 24
        x = axes.box.right + 6
        axes.drawing.line([(x, y - 3), (x + 24, y - 3)], colour, width, dash)
        axes.drawing.text((x + 28, y), trace.name[:14], 8, colour=INK)


def _bars(axes: Axes, traces: Sequence[Trace], top: float) -> None:
    """Durations of each light below the plot, on the same time scale: t0.1 thin, t0.5 thick on it."""
    for index, trace in enumerate(traces):
        colour, dash, width = style_of(index)
        y = top + ROW_HEIGHT * index + 6
        for a, b in runs_above(trace, 0.1):
            x0, x1 = axes.x(a * 1000.0), axes.x(b * 1000.0)
            axes.drawing.line([(x0, y), (x1, y)], colour, width, dash)
            for x in (x0, x1):
                axes.drawing.line([(x, y - 4), (x, y + 4)], colour, 1.0)
        for a, b in runs_above(trace, 0.5):
            x0, x1 = axes.x(a * 1000.0), axes.x(b * 1000.0)
            axes.drawing.area([(x0, y - 3), (x1, y - 3), (x1, y + 3), (x0, y + 3)], fill=colour, stroke=colour, width=0.5)
        t05, t01 = (written(v, "duration") if v else "–" for v in (trace.pulse.t05_s, trace.pulse.t01_s))
        x = axes.box.right + 5
        axes.drawing.text((x, y), f"{trace.name[:18]} t0.1 {t01}".strip(), 7.5)
        axes.drawing.text((x, y + 8.5), say("{duration} (thick part)", duration=f"t0.5 {t05}"), 7.5)


def _shutter_window(axes: Axes, shutter: Shutter) -> None:
    """Grey where rows are covered again; said in words when that is beyond the picture."""
    first, last = window_s(shutter, 0.0) * 1000.0, window_s(shutter, 1.0) * 1000.0
    box, end = axes.box, axes.x_range[1]
    time = written(shutter.time_s, "shutter")
    if first >= end:
        beyond = say("{time}: the whole frame stays open until {ms:.1f} ms, beyond the picture", time=time, ms=first)
        axes.drawing.text((box.right, box.top - 7), beyond, 8, "end")
        return
    x = axes.x(max(first, axes.x_range[0]))
    axes.drawing.area([(x, box.top), (box.right, box.top), (box.right, box.bottom), (x, box.bottom)], CLOSED, "none")
    axes.drawing.line([(x, box.top), (x, box.bottom)], INK, 1.0, (5, 2, 1, 2))
    what = say("covered again" if shutter.kind == "leaf" or last - first < 0.01 else "first rows covered")
    axes.drawing.text((x + 3, box.top + 9), what, 7.5)
    if last < end and last - first >= 0.01:
        x = axes.x(last)
        axes.drawing.line([(x, box.top), (x, box.bottom)], INK, 1.0, (5, 2, 1, 2))
        axes.drawing.text((x + 3, box.top + 19), say("last rows covered"), 7.5)
    axes.drawing.text((box.right, box.top - 7), say("shutter {time}, {kind}", time=time, kind=say(shutter.kind)), 8, "end")
