"""Old readings seen with a new calibration: a view of them; the readings in the library stay as they are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from meterlink.errors import CalibrationError
from meterlink.records import Calibration, Pop, Reading
from meterlink.sensor.measuring.calibrate import scale_of


def reapply(reading: Reading, old: Calibration, new: Calibration) -> Reading:
    """Return what ``reading`` would say had it been taken with ``new``; it carries the new calibration's id.

    Raw values are taken out with the old scale and put in with the new one, pop by pop, each on its own range.

    Raises:
        CalibrationError: not the reading's own calibration, another sensor or receptor, or a range that is missing.
    """
    if reading.calibration_id != old.id:
        raise CalibrationError("this reading was made with another calibration: give that one as the old one")
    if new.sensor_id != old.sensor_id or reading.sensor_id != new.sensor_id:
        raise CalibrationError("the new calibration belongs to another sensor: choose one of the same sensor")
    if new.receptor != old.receptor:
        raise CalibrationError(
            "a reading taken with the {receptor} cannot be seen as one of the {new_receptor}",
            receptor=old.receptor, new_receptor=new.receptor,
        )
    factor = _factor(reading.range_index, old, new)
    pops = tuple(_pop(p, old, new) for p in reading.pops)
    exposure = reading.exposure_lxs
    if exposure is not None:
        # A reading of several pops may have switched ranges between them: its own mean moves as they do.
        before = sum(p.exposure_lxs for p in reading.pops)
        after = sum(p.exposure_lxs for p in pops)
        exposure *= after / before if before > 0 else factor
    return reading._replace(
        calibration_id=new.id,
        exposure_lxs=exposure,
        illuminance_lx=_steady(reading.illuminance_lx, reading.range_index, old, new),
        pops=pops,
        peak_lx=None if reading.peak_lx is None else reading.peak_lx * factor,
        ambient_lx=_steady(reading.ambient_lx, reading.range_index, old, new),
    )


def reapply_all(
    readings: Sequence[Reading], calibrations: Mapping[str, Calibration], new: Calibration
) -> tuple[list[Reading], list[str]]:
    """View every reading that the new calibration fits; the others stay, and a sentence says why for each reason."""
    seen, why = [], []
    for reading in readings:
        try:
            old = calibrations.get(reading.calibration_id)
            if old is None:
                raise CalibrationError("its calibration is not in the library: it stays as it is")
            seen.append(reapply(reading, old, new))
        except CalibrationError as error:
            seen.append(reading)
            why.append(str(error))
    return seen, list(dict.fromkeys(why))


def _factor(index: int, old: Calibration, new: Calibration) -> float:
    return scale_of(new, index).full_scale_lx / scale_of(old, index).full_scale_lx


def _steady(light: float | None, index: int, old: Calibration, new: Calibration) -> float | None:
    if light is None:
        return None
    before, after = scale_of(old, index), scale_of(new, index)
    return (light / before.full_scale_lx + before.dark_raw - after.dark_raw) * after.full_scale_lx


def _pop(pop: Pop, old: Calibration, new: Calibration) -> Pop:
    factor = _factor(pop.range_index, old, new)
    return pop._replace(
        exposure_lxs=pop.exposure_lxs * factor,
        peak_lx=None if pop.peak_lx is None else pop.peak_lx * factor,
        ambient_lx=_steady(pop.ambient_lx, pop.range_index, old, new),
    )
