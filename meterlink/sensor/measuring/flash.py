"""One captured flash block to light: its exposure, peak and durations, each with its uncertainty."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meterlink.errors import AnalysisError
from meterlink.photometry import flash
from meterlink.photometry.flash import FlashPulse
from meterlink.records import Calibration, Evidence, Identity, Measurement, Segment, Steady, Trouble, WaveBlock
from meterlink.sensor.measuring.calibrate import ceiling_raw, default_calibration, scale_of
from meterlink.sensor.measuring.floor import hidden, steps_of
from meterlink.words.told import Told, all_of, told

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

FOOT_SAMPLES = 3
"""The last samples before the trigger may be the foot of the pulse already."""
ALIKE_STOPS = 0.5
"""Two flashes in one record nearer to each other than this are two heads rather than a flash and its pre-flash."""
DOUBT = 2.0**0.1
"""A pop cut short whose exposure is known within a tenth of a stop still counts."""
NOTES = {
    Trouble.TOO_LONG: told("not_fallen_back"),
    Trouble.CUT_SHORT: told("part_missing"),
}
_TROUBLES = {
    flash.LAMP: (Trouble.LAMP, "lamp_stays"),
    flash.TOO_LONG: (Trouble.TOO_LONG, "hardly_fallen"),
    flash.NO_QUIET: (Trouble.CUT_SHORT, "no_quiet"),
    flash.NEGATIVE: (Trouble.UNREADABLE, "negative_light"),
    flash.CANNOT_TELL: (Trouble.CANNOT_TELL, "pulses_untold"),
}


class Unread(AnalysisError):
    """A block that gives no figures, with the reason and the numbers that it rests on."""

    def __init__(self, what: object, trouble: Trouble, evidence: Evidence) -> None:
        self.said = told("once_more", what=what)
        super().__init__("{said}", said=self.said)
        self.trouble, self.evidence = trouble, evidence


def codes_of(block: WaveBlock) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Return the block's integers as they came.  Raises Unread: some are beyond the full scale that the block itself states."""
    import numpy as np

    codes = np.frombuffer(block.data, dtype="<u2" if block.bits == 16 else "u1")
    if len(codes) and int(codes.max()) >> block.scale_bits:
        raise Unread(told("beyond_own_scale"), Trouble.UNREADABLE, Evidence(record_s(block)))
    return codes


def wave_of(block: WaveBlock, calibration: Calibration) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the waveform for a plot: times in s from the trigger, and light in lx.

    Raises CalibrationError: the calibration has no such range; Unread: samples beyond the block's own full scale.
    """
    scale = scale_of(calibration, block.range_index)
    raw = (codes_of(block).astype(float) + 0.5) / (1 << block.scale_bits)
    trigger_s = steps_of(block).cumsum()[block.pretrigger - 1] if block.pretrigger else 0.0
    return times_of(block) - trigger_s, (raw - scale.dark_raw) * scale.full_scale_lx


def times_of(block: WaveBlock) -> NDArray[np.float64]:
    """Return the time of each sample in s from the beginning of the block: it stands for the middle of its interval."""
    steps = steps_of(block)
    return steps.cumsum() - steps / 2.0


def why_none(error: flash.NoPulse) -> Told:
    """Return why a waveform gives no figures."""
    return told(_TROUBLES[error.why][1], level=error.level_lx)


def peak_raw(block: WaveBlock, calibration: Calibration) -> float:
    """Return the largest sample above dark, as a fraction of full scale."""
    if block.bits == 8:
        top = max(block.data, default=0)
    else:
        top = max(memoryview(block.data).cast("H"), default=0)
    return (top + 0.5) / (1 << block.scale_bits) - scale_of(calibration, block.range_index).dark_raw


def record_s(block: WaveBlock) -> float:
    """Return how long the record goes on after the trigger, in s."""
    whole = math.fsum(part.sample_count * part.sample_interval_s for part in block.segments)
    return whole - (block.pretrigger * block.segments[0].sample_interval_s if block.segments else 0.0)


def pulse_of(block: WaveBlock, calibration: Calibration, room: Steady | None = None) -> FlashPulse:
    """Return the analysis of a block; ``room`` is the last steady light on its range, if there was one lately.

    Raises Unread: nothing follows from these samples; CalibrationError: the calibration has no such range.
    """
    scale = scale_of(calibration, block.range_index)
    steps = 1 << block.scale_bits
    ceiling = ceiling_raw(calibration, block.range_index)
    step_lx = scale.full_scale_lx / steps
    try:
        codes = codes_of(block)
        found = flash.analyse_counts(
            codes, step_lx, times_of(block),
            # A truncating converter reads half a code low.
            zero_code=scale.dark_raw * steps - 0.5, full_scale_code=min(steps - 1, int(ceiling * steps)),
            pretrigger=max(0, block.pretrigger - FOOT_SAMPLES),
        )  # fmt: skip
    except flash.NoPulse as why:
        raise Unread(why_none(why), _TROUBLES[why.why][0], Evidence(record_s(block), why.left, why.level_lx)) from why
    except ValueError as why:
        raise Unread(str(why), Trouble.UNREADABLE, Evidence(record_s(block))) from why
    if found.kind == "steady":
        raise Unread(told("nothing_stands_out"), Trouble.NO_FLASH, Evidence(record_s(block), level_lx=found.mean_lx))
    if found.clipped and ceiling < 1.0:
        found = found._replace(flat_below_full_scale=True)
    below = hidden(block, codes, FOOT_SAMPLES, scale.dark_raw, room)
    return found._replace(
        exposure_lxs=found.exposure_lxs + below.add * step_lx,
        total_exposure_lxs=found.total_exposure_lxs + below.add * step_lx,
        u_exposure_lxs=math.hypot(found.u_exposure_lxs, below.u * step_lx),
    )


def measure(block: WaveBlock, sensor_id: str, calibration: Calibration, room: Steady | None = None, memory: int = 0) -> Measurement:
    """Return what one block says, not yet judged for its range.

    A waveform from which nothing follows is marked ``incomplete`` with the reason: a pop was seen and must not vanish without
    a word.  ``memory``: samples that the sensor can keep (0: not known); a shorter record that ends inside its pop was cut.
    """
    try:
        found = pulse_of(block, calibration, room)
    except Unread as why:
        return Measurement(
            "flash", block.at_s, sensor_id, calibration.id, range_index=block.range_index, clipped=block.clipped,
            incomplete=True, held_off_m=block.held_off_m, wave=block, note=why.said,
            trouble=why.trouble, evidence=why.evidence,
        )  # fmt: skip
    trouble = _unfinished(block, found, memory) or _not_alone(found)
    notes = [NOTES[trouble]] if trouble in NOTES else []
    # what an amplifier that has stopped does to the flanks is not known, so nothing bounds what is missing
    bounded = found.clipped and not found.flat_below_full_scale
    return Measurement(
        "flash", block.at_s, sensor_id, calibration.id,
        exposure_lxs=found.exposure_lxs, u_rel=found.u_exposure_rel, peak_lx=found.peak_lx,
        t05_s=found.t05_s, t01_s=found.t01_s, u_t05_s=found.u_t05_s, u_t01_s=found.u_t01_s,
        ambient_lx=found.ambient_lx, range_index=block.range_index, clipped=block.clipped or found.clipped,
        incomplete=trouble is not None, held_off_m=block.held_off_m, wave=block,
        note=all_of(*notes, *(Told(*one) for one in found.notes)) or "",
        trouble=trouble, exposure_bounds_lxs=found.exposure_bounds_lxs if bounded else None,
        evidence=_evidence(block, found) if trouble or found.preflash_lead_s is not None else None,
    )  # fmt: skip


def rehearse() -> None:
    """Read a made-up pop, so that libraries are loaded before the first real one: it would wait half a second for them."""
    light = bytes(5 + round(180 * (math.exp(-i / 54) - math.exp(-i / 3))) for i in range(896))
    block = WaveBlock(0.0, 1, bytes([5, 6] * 64) + light, 8, 8, (Segment(0, 1024, 13e-6),), 128)
    measure(block, "", default_calibration(Identity("", "", "", "", flash=True, ranges=("bright",))))


def _not_alone(found: FlashPulse) -> Trouble | None:
    """Return why a pop with a second flash in its record is refused; its exposure is that of both together."""
    stops = _apart(found)[1]
    if stops is None or found.other_lag_s is None:
        return None
    return Trouble.TWO_FLASHES if abs(stops) <= ALIKE_STOPS else Trouble.WHICH_FLASH


def _apart(found: FlashPulse) -> tuple[float | None, float | None]:
    """Return time and stops from the earlier to the later one of two flashes in a record; (None, None) where there is one."""
    if found.other_lag_s is not None:
        alone = found.total_exposure_lxs - found.other_lxs
        stops = math.log2(found.other_lxs / alone) if alone > 0.0 else 0.0
        return abs(found.other_lag_s), stops if found.other_lag_s > 0.0 else -stops
    if found.preflash_lead_s is not None and found.preflash_lxs > 0.0:
        return found.preflash_lead_s, math.log2(found.total_exposure_lxs / found.preflash_lxs)
    return None, None


def _evidence(block: WaveBlock, found: FlashPulse) -> Evidence:
    apart_s, apart_stops = _apart(found)
    return Evidence(record_s(block), found.left, apart_s=apart_s, apart_stops=apart_stops)


def _unfinished(block: WaveBlock, found: FlashPulse, memory: int) -> Trouble | None:
    """Return why a pop of which a part is missing is refused; None when what is missing does not matter."""
    bounds = found.exposure_bounds_lxs
    if not (block.truncated or found.truncated) or (bounds is not None and bounds[1] <= bounds[0] * DOUBT):
        return None
    short = found.begins_inside or (not block.truncated and sum(part.sample_count for part in block.segments) < memory)
    return Trouble.CUT_SHORT if short else Trouble.TOO_LONG
