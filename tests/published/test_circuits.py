"""Ohm's law, RC poles, Johnson and shot noise, quantisation: the design formulas against textbook figures."""

from __future__ import annotations

import math

import pytest
import scipy

from hardware_notes.design import circuit as c
from hardware_notes.design.builds import BUILD_B, BUILDS


def test_ohms_law() -> None:
    """1 mA through 5 kΩ is 5 V (Ohm's law): 111 µA of photocurrent through 6.81 kΩ lifts the output by 0.757 V."""
    amplifier = c.Amplifier("x", 6.81e3, 1e-9)
    light = 111.1111e-6 / (BUILD_B.responsivity_a_lx * BUILD_B.transmission)
    assert c.output_v(BUILD_B, amplifier, light) - BUILD_B.lift_v == pytest.approx(111.1111e-6 * 6.81e3)


def test_rc_corner_of_textbooks() -> None:
    """10 kΩ and 16 nF have a corner near 1 kHz (994.7 Hz, 1/(2 pi R C)) and a time constant of 160 µs; two such in a row
    have theirs at sqrt(sqrt(2) - 1) = 0.6436 of it (textbook figure for two equal poles)."""
    amplifier = c.Amplifier("x", 10e3, 16e-9)
    alone = BUILD_B._replace(filter_f=1e-15)
    assert c.bandwidth_hz(alone, amplifier) == pytest.approx(994.718, abs=1e-3)
    assert c.pole_s(amplifier) == pytest.approx(160e-6)
    _b, a = scipy.signal.butter(1, 2 * math.pi * c.bandwidth_hz(alone, amplifier), analog=True)
    assert a[1] / a[0] * c.pole_s(amplifier) == pytest.approx(1)
    twice = BUILD_B._replace(filter_ohm=10e3, filter_f=16e-9)
    assert c.bandwidth_hz(twice, amplifier) == pytest.approx(0.64359 * 994.718, rel=1e-4)


def test_johnson_noise_of_a_kilohm() -> None:
    """1 kΩ at 298.15 K has 4.06 nV/√Hz (the usual '4 nV for 1 kΩ'); over 10 kHz of noise bandwidth 0.406 µV."""
    density = math.sqrt(4 * c.BOLTZMANN_J_K * c.ROOM_K * 1e3)
    assert density == pytest.approx(4.06e-9, abs=0.01e-9)
    quiet = BUILD_B._replace(amplifier_noise_v_rthz=0.0, filter_f=1e-18)
    capacitor = 1 / (2 * math.pi * 1e3 * 10e3 / (math.pi / 2))
    assert c.noise_v(quiet, c.Amplifier("x", 1e3, capacitor), 0.0) == pytest.approx(density * 100, rel=1e-9)


def test_shot_noise_of_a_milliampere() -> None:
    """1 mA of photocurrent has 17.9 pA/√Hz of shot noise, sqrt(2 q I) (textbook figure)."""
    assert math.sqrt(2 * c.ELECTRON_C * 1e-3) == pytest.approx(17.9e-12, abs=0.05e-12)


def test_kt_over_c() -> None:
    """A resistor's noise over its own RC band is sqrt(kT/C) whatever R is: 64 µV on 1 pF at 298 K (textbook figure)."""
    quiet = BUILD_B._replace(amplifier_noise_v_rthz=0.0, filter_f=1e-18)
    for r in (1e3, 1e6):
        assert c.noise_v(quiet, c.Amplifier("x", r, 1e-12), 0.0) == pytest.approx(64.2e-6, abs=0.1e-6)


@pytest.mark.parametrize("amplifier", BUILD_B.ranges, ids=lambda a: a.name)
def test_noise_of_the_amplifier_is_its_integral(amplifier: c.Amplifier) -> None:
    """White noise through (1 + s z)/(1 + s a)/(1 + s b) has the power that scipy integrates."""
    a, b = c.pole_s(amplifier), c.filter_s(BUILD_B)
    z = amplifier.r_ohm * (BUILD_B.diode_f + BUILD_B.amplifier_input_f + amplifier.c_farad)

    def power(log_hz: float) -> float:
        hz = 10**log_hz
        w = 2 * math.pi * hz
        return (1 + (w * z) ** 2) / (1 + (w * a) ** 2) / (1 + (w * b) ** 2) * hz * math.log(10)

    silent = BUILD_B._replace(amplifier_noise_v_rthz=0.0)
    alone = c.noise_v(BUILD_B, amplifier, 0.0) ** 2 - c.noise_v(silent, amplifier, 0.0) ** 2
    assert alone == pytest.approx(8.7e-9**2 * scipy.integrate.quad(power, -1, 10, limit=400)[0], rel=1e-4)


def test_quantisation_is_the_uniform_distribution() -> None:
    """One step of 10 bits at 5 V is 4.883 mV and its rounding 1.41 mV rms, step/sqrt(12) (GUM 4.3.7)."""
    five = BUILD_B._replace(reference_v=5.0)
    assert c.code_v(five, 10) == pytest.approx(4.8828e-3, abs=1e-7)
    assert c.quantisation_v(five, 10) == pytest.approx(1.4096e-3, abs=1e-7)


def test_peak_of_an_exponential_through_a_pole() -> None:
    """The part of the peak that one pole lets through is scipy's maximum of the convolution; its area is unchanged."""
    t01, pole = 1 / 6000, 6.8e-6
    tau = t01 / math.log(10)

    def out(t: float) -> float:
        return tau / (tau - pole) * (math.exp(-t / tau) - math.exp(-t / pole))

    peak = max(out(i * 1e-8) for i in range(10_000))
    assert c.seen_peak(t01, pole) == pytest.approx(peak, rel=1e-6)
    assert scipy.integrate.quad(out, 0, 30 * tau)[0] == pytest.approx(tau, rel=1e-6)
    assert c.seen_peak(math.log(10) * 1e-5, 1e-5) == pytest.approx(math.exp(-1))


def test_exposure_of_the_nominal_flash() -> None:
    """t0.1 of an exponential is tau ln 10: 2 Mlx falling with t0.1 1/1000 s is 868.6 lx·s, f/16.2 at C 330."""
    assert 2e6 / 1000 / math.log(10) == pytest.approx(868.6, abs=0.05)
    assert c.f_number(868.6, 330.0) == pytest.approx(16.22, abs=0.01)


@pytest.mark.parametrize("build", BUILDS, ids=lambda b: b.name)
def test_builds_have_the_nominal_ranges_and_the_converter_is_full_before_the_amplifier(build: c.Build) -> None:
    """2 Mlx and 200 klx within 6 %, lags of 1.5 to 12 µs, capacitors above the least, zero lifted by 2 %, ranges ten apart."""
    for amplifier, nominal in zip(build.ranges, (2e6, 2e5), strict=True):
        assert c.full_scale_lx(build, amplifier) == pytest.approx(nominal, rel=0.06)
        assert 1.5e-6 < c.lag_s(build, amplifier) < 12e-6
        assert amplifier.c_farad > 2 * c.least_capacitor_f(build, amplifier)
        assert c.resistor_for(build, nominal) == pytest.approx(amplifier.r_ohm, rel=0.06)
        assert c.clipping_lx(build, amplifier) < c.full_scale_lx(build, amplifier)
    assert build.lift_v / build.reference_v == pytest.approx(0.02, rel=0.03)
    assert build.ranges[1].r_ohm / build.ranges[0].r_ohm == pytest.approx(10, rel=0.02)
    assert build.reference_v < build.supply_v - 3 * build.headroom_v
