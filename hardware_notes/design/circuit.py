"""What a photodiode, a transimpedance amplifier and a converter can see: formulas of the build notes.

Standard library only.  Every function is one textbook relation (Ohm's law, the RC pole, Johnson and shot noise,
quantisation) with units in its names; ``builds.py`` has the parts, ``make_notes.py`` writes the tables and plots.

Sources of the noise formulas: Johnson (Phys. Rev. 32, 1928, 97) and Schottky's shot noise, quoted from memory; the
least feedback capacitor is the usual rule for 45° of phase margin (common practice in application notes).
"""

from __future__ import annotations

import math
from typing import NamedTuple

BOLTZMANN_J_K = 1.380649e-23
"""Exact (SI 2019)."""
ELECTRON_C = 1.602176634e-19
"""Exact (SI 2019)."""
ROOM_K = 298.15
TENTH_STOP_REL = 2**0.1 - 1


class Amplifier(NamedTuple):
    """One sensitivity range: what its feedback comes to, switch and resistors in parallel included."""

    name: str
    r_ohm: float
    c_farad: float


class Build(NamedTuple):
    """Everything from the dome to the code."""

    name: str
    responsivity_a_lx: float
    """Photodiode: amperes per lux at the diode."""
    transmission: float
    """Dome and attenuator together: lux at the diode per lux at the dome's plane."""
    diode_f: float
    """Capacitance of the diode at no bias."""
    amplifier_input_f: float
    gain_bandwidth_hz: float
    amplifier_noise_v_rthz: float
    reference_v: float
    headroom_v: float
    """What the amplifier's output stays below its supply."""
    supply_v: float
    steady_bits: int
    flash_bits: int
    interval_s: float
    ring_s: float
    """Longest time after the trigger that is kept."""
    constant_lx: float
    """C of the dome."""
    dim_ohm: float
    """Feedback that is always there."""
    bright_ohm: float
    """Feedback that the switch lays beside it."""
    switch_ohm: float
    """What the closed switch adds to it."""
    feedback_f: float
    """The one capacitor, always across the amplifier: no switch stands between it and stability."""
    filter_ohm: float
    filter_f: float
    """Resistor and capacitor before the converter."""
    lift_top_ohm: float
    lift_bottom_ohm: float
    """Divider of the reference at the plus input."""

    @property
    def ranges(self) -> tuple[Amplifier, Amplifier]:
        """Bright (switch closed) and dim."""
        branch = self.bright_ohm + self.switch_ohm
        bright = branch * self.dim_ohm / (branch + self.dim_ohm)
        return Amplifier("bright", bright, self.feedback_f), Amplifier("dim", self.dim_ohm, self.feedback_f)

    @property
    def lift_v(self) -> float:
        """Zero is lifted so far, so that noise is not cut off at nothing and the amplifier never touches its lower rail."""
        return self.reference_v * self.lift_bottom_ohm / (self.lift_top_ohm + self.lift_bottom_ohm)


def current_a(build: Build, light_lx: float) -> float:
    """Photocurrent for a light on the dome."""
    return light_lx * build.transmission * build.responsivity_a_lx


def output_v(build: Build, amplifier: Amplifier, light_lx: float) -> float:
    """Output of the amplifier: Ohm's law above the lifted zero."""
    return build.lift_v + current_a(build, light_lx) * amplifier.r_ohm


def full_scale_lx(build: Build, amplifier: Amplifier) -> float:
    """Light per full scale of the converter, as ``RangeScale`` has it: raw = dark + light / full scale."""
    return build.reference_v / (amplifier.r_ohm * build.transmission * build.responsivity_a_lx)


def clipping_lx(build: Build, amplifier: Amplifier) -> float:
    """Light at which the converter or the amplifier gives way, whichever comes first."""
    top_v = min(build.reference_v, build.supply_v - build.headroom_v)
    return (top_v - build.lift_v) / (amplifier.r_ohm * build.transmission * build.responsivity_a_lx)


def resistor_for(build: Build, wanted_full_scale_lx: float) -> float:
    """Feedback resistor that gives a full scale."""
    return build.reference_v / (wanted_full_scale_lx * build.transmission * build.responsivity_a_lx)


def pole_s(amplifier: Amplifier) -> float:
    """Time constant of the feedback."""
    return amplifier.r_ohm * amplifier.c_farad


def filter_s(build: Build) -> float:
    """Time constant of the filter before the converter."""
    return build.filter_ohm * build.filter_f


def bandwidth_hz(build: Build, amplifier: Amplifier) -> float:
    """The frequency at which feedback and filter together give 0.707 of a slow light.

    |H|^2 = 1/((1 + w^2 a^2)(1 + w^2 b^2)) = 1/2 is a quadratic in w^2.
    """
    a2, b2 = pole_s(amplifier) ** 2, filter_s(build) ** 2
    w2 = 2 / (math.sqrt((a2 + b2) ** 2 + 4 * a2 * b2) + a2 + b2)
    return math.sqrt(w2) / (2 * math.pi)


def least_capacitor_f(build: Build, amplifier: Amplifier) -> float:
    """Feedback capacitor below which the amplifier rings or oscillates: sqrt(C_in / (2 pi R GBW))."""
    c_in = build.diode_f + build.amplifier_input_f
    return math.sqrt(c_in / (2 * math.pi * amplifier.r_ohm * build.gain_bandwidth_hz))


def noise_v(build: Build, amplifier: Amplifier, light_lx: float) -> float:
    """RMS noise at the converter over the whole band: resistor, shot noise of the light, amplifier voltage noise.

    Two poles a and b pass white noise as a band of 1/(4 (a + b)).  The amplifier's own voltage is lifted by
    (1 + s z)/(1 + s a) with z = R (C_in + C_f), which makes that band 1 + z^2/(a b) times as wide.
    """
    a, b = pole_s(amplifier), filter_s(build)
    band_hz = 1 / (4 * (a + b))
    zero = amplifier.r_ohm * (build.diode_f + build.amplifier_input_f + amplifier.c_farad)
    resistor = math.sqrt(4 * BOLTZMANN_J_K * ROOM_K * amplifier.r_ohm * band_hz)
    shot = amplifier.r_ohm * math.sqrt(2 * ELECTRON_C * current_a(build, light_lx) * band_hz)
    voltage = build.amplifier_noise_v_rthz * math.sqrt(band_hz * (1 + zero**2 / (a * b)))
    return math.sqrt(resistor**2 + shot**2 + voltage**2)


def code_v(build: Build, bits: int) -> float:
    """One step of the converter."""
    return build.reference_v / 2**bits


def quantisation_v(build: Build, bits: int) -> float:
    """Standard deviation of the rounding to one step, uniform: step / sqrt(12)."""
    return code_v(build, bits) / math.sqrt(12)


def steady_range_lx(build: Build, amplifier: Amplifier) -> tuple[float, float]:
    """Steady light between which one reading is good to a tenth of a stop (k=2).

    Averaging removes noise, not the half step by which the dark may be wrong.
    """
    low_v = 2 * quantisation_v(build, build.steady_bits) / TENTH_STOP_REL
    low = low_v / (amplifier.r_ohm * build.transmission * build.responsivity_a_lx)
    return low, 0.95 * clipping_lx(build, amplifier)


def peak_codes_needed() -> float:
    """Codes that a pulse must reach so that a part of a code under all of it stays below a tenth of a stop (k=2).

    An exponential pulse of n codes lies above its last code for ln(n) time constants and its area is n of them:
    2 / sqrt(12) * ln(n) / n <= 0.0718; solved by iteration.
    """
    n = 50.0
    for _ in range(60):
        n = 2 / math.sqrt(12) * math.log(n) / TENTH_STOP_REL
    return n


def seen_peak(t01_s: float, pole: float) -> float:
    """Part of an exponential pulse's peak that comes through one pole; the pulse rises at once and falls to a tenth
    in ``t01_s``."""
    tau = t01_s / math.log(10)
    if math.isclose(tau, pole):
        return math.exp(-1)
    return float((pole / tau) ** (pole / (tau - pole)))


def lag_s(build: Build, amplifier: Amplifier) -> float:
    """Both poles as one: their lags add."""
    return pole_s(amplifier) + filter_s(build)


def flash_range_lxs(build: Build, amplifier: Amplifier, t01_s: float) -> tuple[float, float]:
    """Luminous exposure between which an exponential pulse of that t0.1 is read to a tenth of a stop without clipping."""
    tau = t01_s / math.log(10)
    per_peak = tau / seen_peak(t01_s, lag_s(build, amplifier))
    low = peak_codes_needed() / 2**build.flash_bits * full_scale_lx(build, amplifier)
    return low * per_peak, 0.95 * clipping_lx(build, amplifier) * per_peak


def f_number(exposure_lxs: float, constant_lx: float, iso: float = 100.0) -> float:
    """N = sqrt(H S / C)."""
    return math.sqrt(exposure_lxs * iso / constant_lx)


def samples_inside(build: Build, t01_s: float) -> float:
    """Samples inside t0.1."""
    return t01_s / build.interval_s
