"""Sensors that were built wrong: the model of our firmware with a front end that has one fault."""

from __future__ import annotations

import math

from meterlink.sensor.measuring.calibrate import PEDESTAL_RAW
from meterlink.simulation.chip_model import FULL_SCALE_LX, NOISE_CODES, ChipModel, Light, Shown

FAULTS = (
    "diode-reversed", "diode-open", "zero-not-lifted", "dark-offset", "light-leak", "amplifier-at-its-end", "hum", "range-stuck",
    "swapped-resistors", "wrong-resistor", "slow-amplifier", "loose-contact", "deaf",
)  # fmt: skip
HUM_CODES, LEAK_LX, SLOW_S = 5.0, 9e3, 12e-3


class BadBuild(ChipModel):
    """``fault`` is one of ``FAULTS``."""

    def __init__(self, fault: str, *, seed: int = 1) -> None:
        super().__init__(seed=seed, noise_codes=HUM_CODES if fault == "hum" else NOISE_CODES)
        self.fault = fault
        self.identity = self.identity._replace(name=f"simulated dome, {fault}")

    def raw(self, level_lx: float) -> float:
        """What the converter sees of a light, as a fraction of full scale."""
        wide, fine = FULL_SCALE_LX
        full = FULL_SCALE_LX[self.range_index]
        if self.fault == "range-stuck":
            full = fine
        elif self.fault == "swapped-resistors":
            full = wide + fine - full
        elif self.fault == "wrong-resistor" and self.range_index:
            full *= 2.2
        above = (level_lx + (LEAK_LX if self.fault == "light-leak" else 0.0)) / full
        if self.fault == "diode-open":
            above = 0.0
        elif self.fault == "diode-reversed":
            above = -above
        elif self.fault == "amplifier-at-its-end":
            return 1.0
        elif self.fault == "loose-contact":
            above *= 1.0 if self.pops_seen % 2 else 0.5
        zero = {"zero-not-lifted": 0.0, "dark-offset": 3 * PEDESTAL_RAW}.get(self.fault, PEDESTAL_RAW)
        return zero + above

    def pop(self, light: Light, now_s: float) -> Shown | None:
        """Let a flash happen, as this build sees it."""
        if self.fault == "deaf":
            return None
        if self.fault == "slow-amplifier":
            exposure = getattr(light, "exposure_lxs", 100.0) * 4
            self.factor = max(8, self.factor)

            def slow(t_s: float) -> float:
                return exposure / SLOW_S * math.exp(-t_s / SLOW_S) if t_s > 0 else 0.0

            return super().pop(slow, now_s)
        return super().pop(light, now_s)
