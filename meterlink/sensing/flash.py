"""One captured flash block to light: its samples on a time axis, its exposure, peak and durations."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from meterlink.errors import AnalysisError
from meterlink.model import Calibration, Measurement, WaveBlock
from meterlink.sensing.calibrate import scale_of

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

MAX_SAMPLES = 2_000_000
"""Longest waveform that is worked out; the wire format cannot carry more than 66,000."""


class PulseFigures(NamedTuple):
    """What follows from one waveform, in light."""

    exposure_lxs: float
    peak_lx: float
    ambient_lx: float
    u_rel: float
    """Relative standard uncertainty of the exposure, from noise, ambient and the steps of the converter."""
    t05_s: float | None = None
    t01_s: float | None = None


def samples_lx(block: WaveBlock, calibration: Calibration) -> NDArray[np.float64]:
    """Return the block's samples in lx, oldest first.

    Raises:
        CalibrationError: the calibration has no such range.
        AnalysisError: samples beyond the full scale that the block itself states, or far too many.
    """
    import numpy as np

    scale = scale_of(calibration, block.range_index)
    codes = np.frombuffer(block.data, dtype="<u2" if block.bits == 16 else "u1")
    if len(codes) > MAX_SAMPLES:
        raise AnalysisError(f"a waveform of {len(codes):,} samples is too long: {MAX_SAMPLES:,} are worked out")
    if len(codes) and int(codes.max()) >> block.scale_bits:
        raise AnalysisError("the waveform has samples beyond its own full scale: one more pop, please")
    raw = (codes.astype(np.float64) + 0.5) / (1 << block.scale_bits)
    return np.asarray((raw - scale.dark_raw) * scale.full_scale_lx)


def even(block: WaveBlock, values: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """Return the samples on one even grid, and its interval: coarser segments are repeated, which keeps their sum.

    A sample of a coarse segment is the mean over its interval, so every finer sample inside it counts for as much.
    """
    import numpy as np

    finest = min(s.sample_interval_s for s in block.segments)
    repeats = [max(1, round(s.sample_interval_s / finest)) for s in block.segments]
    if all(r == 1 for r in repeats):
        return values, finest
    if sum(r * s.sample_count for r, s in zip(repeats, block.segments, strict=True)) > MAX_SAMPLES:
        raise AnalysisError("the waveform's segments differ too much in their intervals: update the sensor's firmware")
    times = np.repeat(repeats, [s.sample_count for s in block.segments])
    return np.repeat(values, times), finest


def peak_raw(block: WaveBlock, calibration: Calibration) -> float:
    """Return the largest sample above dark, as a fraction of full scale."""
    if block.bits == 8:
        top = max(block.data, default=0)
    else:
        top = max(memoryview(block.data).cast("H"), default=0)
    return (top + 0.5) / (1 << block.scale_bits) - scale_of(calibration, block.range_index).dark_raw


def figures(block: WaveBlock, calibration: Calibration) -> PulseFigures:
    """Return exposure, peak and durations of a block.

    Raises:
        AnalysisError: nothing follows from these samples.
        CalibrationError: the calibration has no such range.
    """
    values, interval_s = even(block, samples_lx(block, calibration))
    before = min(block.pretrigger, len(values))
    if before < 4 or len(values) - before < 4:
        raise AnalysisError("the waveform is too short to tell the flash from the room: one more pop, please")
    # The last samples before the trigger may be the foot of the pulse already.
    room = values[: max(4, before - 2)]
    ambient = float(room.mean())
    step_lx = scale_of(calibration, block.range_index).full_scale_lx / (1 << block.scale_bits)
    noise = math.hypot(float(room.std()), step_lx / math.sqrt(12.0))
    above = values - ambient
    exposure = float(above[before:].sum()) * interval_s + float(above[max(0, before - 2) : before].sum()) * interval_s
    peak = float(above.max())
    if not exposure > 0.0 or not peak > 0.0:
        raise AnalysisError("no flash stands out of the room's light in this waveform: one more pop, please")
    n = len(values) - before
    u_sum = noise * math.sqrt(n) * interval_s
    u_ambient = noise / math.sqrt(len(room)) * n * interval_s
    t05, t01 = _width(above, peak, 0.5, interval_s), _width(above, peak, 0.1, interval_s)
    return PulseFigures(exposure, peak, ambient, math.hypot(u_sum, u_ambient) / exposure, t05, t01)


def _width(above: NDArray[np.float64], peak: float, level: float, interval_s: float) -> float | None:
    over = above >= level * peak
    inside = int(over.sum())
    if over[0] or over[-1] or inside < 2:
        return None
    first = int(over.argmax())
    last = len(over) - 1 - int(over[::-1].argmax())
    mark = level * peak
    rise = (above[first] - mark) / (above[first] - above[first - 1])
    fall = (above[last] - mark) / (above[last] - above[last + 1])
    return float(last - first + rise + fall) * interval_s


def measure(block: WaveBlock, sensor_id: str, calibration: Calibration) -> Measurement:
    """Return what one block says, not yet judged for its range.  A waveform from which nothing follows is marked
    ``incomplete`` with the reason in its note: a pop was seen and must not vanish without a word.
    """
    try:
        found = figures(block, calibration)
    except AnalysisError as why:
        return Measurement(
            "flash", block.at_s, sensor_id, calibration.id, range_index=block.range_index, clipped=block.clipped,
            incomplete=True, held_off_m=block.held_off_m, wave=block, note=str(why),
        )  # fmt: skip
    return Measurement(
        "flash", block.at_s, sensor_id, calibration.id,
        exposure_lxs=found.exposure_lxs, u_rel=found.u_rel, peak_lx=found.peak_lx,
        t05_s=found.t05_s, t01_s=found.t01_s, ambient_lx=found.ambient_lx,
        range_index=block.range_index, clipped=block.clipped, incomplete=block.truncated,
        held_off_m=block.held_off_m, wave=block,
        note="the light had not fallen back when the memory was full: use a longer sample interval"
        if block.truncated else "",
    )  # fmt: skip
