"""What walks have in common as evidence, and the walk to a zero; the scale is ``scale_walk``'s, the angle ``turntable``'s."""

from __future__ import annotations

import math
from statistics import fmean, stdev

from meterlink.calibration.evidence import Dark, Evidence, full_raw_of, raw_of
from meterlink.calibration.procedure import Procedure
from meterlink.calibration.scale import calibrate_zero
from meterlink.calibration.steps import dark_tasks
from meterlink.records import Calibration, Identity

U_POP_REL = 0.01
"""Least relative uncertainty given to one pop: studio flash repeats to about this (common practice)."""


def darks_of(walk: Procedure) -> tuple[Dark, ...]:
    """Return the darks that a walk has taken.

    One code of the converter, rectangular, bounds what averaging can promise of a zero.
    """
    step = 2.0 ** -(walk.identity.adc_bits or 16) * full_raw_of(walk.identity)
    found = []
    for index in range(len(walk.identity.ranges)):
        raws = [raw_of(t.measurement, walk.calibration) for t in walk.of(f"dark-{index}")]
        if raws:
            spread = stdev(raws) if len(raws) > 1 else 0.0
            found.append(Dark(index, fmean(raws), max(spread / math.sqrt(len(raws)), step / math.sqrt(12))))
    return tuple(found)


def evidence_of(walk: Procedure, temperature_c: float | None) -> Evidence:
    """Return the darks of a walk as evidence."""
    return Evidence(
        range_names=walk.identity.ranges, darks=darks_of(walk), temperature_c=temperature_c,
        full_raw=full_raw_of(walk.identity), ceilings=walk.ceilings(),
    )  # fmt: skip


class ZeroWalk(Procedure):
    """``meterlink calibrate zero``: the dark of every range, nothing else."""

    def __init__(self, identity: Identity, calibration: Calibration) -> None:
        super().__init__(identity, calibration, dark_tasks(identity, 5), with_dark=True)
        self.previous = calibration

    def result(self, created_at_s: float = 0.0) -> Calibration:
        """Return the calibration in force with a new zero.  Raises CalibrationError when the dark is none."""
        return calibrate_zero(evidence_of(self, None), self.previous, created_at_s=created_at_s)
