"""Ohm's law, RC poles, Johnson and shot noise, quantisation: the design formulas against textbook figures."""

from __future__ import annotations

import math

import pytest
from scipy import integrate, signal

from hardware_notes.design import circuit as c
from hardware_notes.design.builds import BUILD_B, BUILDS


def test_ohms_law() -> None:
    """1 mA through 5 kΩ is 5 V (Ohm's law): 111 µA of photocurrent through 6.81 kΩ lifts the output by 0.757 V."""
    amplifier = c.Amplifier("x", 6.81e3, 1e-9)
    light = 111.1111e-6 / (BUILD_B.responsivity_a_lx * BUILD_B.transmission)
    assert c.output_v(BUILD_B, amplifier, light) - BUILD_B.lift_v == pytest.approx(111.1111e-6 * 6.81e3)


def test_rc_corner_of_textbooks() -> None:
    """10 kΩ and 16 nF have a corner near 1 kHz (994.7 Hz, 1/(2 pi R C)) and a time constant of 160 µs."""
    amplifier = c.Amplifier("x", 10e3, 16e-9)
    assert c.bandwidth_hz(amplifier) == pytest.approx(994.718, abs=1e-3)
    assert c.pole_s(amplifier) == pytest.approx(160e-6)
    _b, a = signal.butter(1, 2 * math.pi * c.bandwidth_hz(amplifier), analog=True)
    assert a[1] / a[0] * c.pole_s(amplifier) == pytest.approx(1)


def test_johnson_noise_of_a_kilohm() -> None:
    """1 kΩ at 298.15 K has 4.06 nV/√Hz (the usual '4 nV for 1 kΩ'); over 10 kHz of noise bandwidth 0.406 µV."""
    density = math.sqrt(4 * c.BOLTZMANN_J_K * c.ROOM_K * 1e3)
    assert density == pytest.approx(4.06e-9, abs=0.01e-9)
    quiet = BUILD_B._replace(amplifier_noise_v_rthz=0.0)
    capacitor = 1 / (2 * math.pi * 1e3 * 10e3 / (math.pi / 2))
    assert c.noise_v(quiet, c.Amplifier("x", 1e3, capacitor), 0.0) == pytest.approx(density * 100, rel=1e-9)


def test_shot_noise_of_a_milliampere() -> None:
    """1 mA of photocurrent has 17.9 pA/√Hz of shot noise, sqrt(2 q I) (textbook figure)."""
    assert math.sqrt(2 * c.ELECTRON_C * 1e-3) == pytest.approx(17.9e-12, abs=0.05e-12)


def test_kt_over_c() -> None:
    """A resistor's noise over its own RC band is sqrt(kT/C) whatever R is: 64 µV on 1 pF at 298 K (textbook figure)."""
    quiet = BUILD_B._replace(amplifier_noise_v_rthz=0.0)
    for r in (1e3, 1e6):
        assert c.noise_v(quiet, c.Amplifier("x", r, 1e-12), 0.0) == pytest.approx(64.2e-6, abs=0.1e-6)


def test_quantisation_is_the_uniform_distribution() -> None:
    """One step of 10 bits at 5 V is 4.883 mV and its rounding 1.41 mV rms, step/sqrt(12) (GUM 4.3.7)."""
    assert c.code_v(BUILD_B, 10) == pytest.approx(4.8828e-3, abs=1e-7)
    assert c.quantisation_v(BUILD_B, 10) == pytest.approx(1.4096e-3, abs=1e-7)


def test_peak_of_an_exponential_through_a_pole() -> None:
    """The part of the peak that one pole lets through is scipy's maximum of the convolution; its area is unchanged."""
    t01, pole = 1 / 6000, 6.8e-6
    tau = t01 / math.log(10)

    def out(t: float) -> float:
        return tau / (tau - pole) * (math.exp(-t / tau) - math.exp(-t / pole))

    peak = max(out(i * 1e-8) for i in range(10_000))
    assert c.seen_peak(t01, pole) == pytest.approx(peak, rel=1e-6)
    assert integrate.quad(out, 0, 30 * tau)[0] == pytest.approx(tau, rel=1e-6)
    assert c.seen_peak(math.log(10) * 1e-5, 1e-5) == pytest.approx(math.exp(-1))


def test_exposure_of_the_nominal_flash() -> None:
    """t0.1 of an exponential is tau ln 10: 2 Mlx falling with t0.1 1/1000 s is 868.6 lx·s, f/16.2 at C 330."""
    assert 2e6 / 1000 / math.log(10) == pytest.approx(868.6, abs=0.05)
    assert c.f_number(868.6, 330.0) == pytest.approx(16.22, abs=0.01)


@pytest.mark.parametrize("build", BUILDS, ids=lambda b: b.name)
def test_builds_have_the_nominal_ranges_and_clip_before_the_amplifier_does(build: c.Build) -> None:
    """2 Mlx and 200 klx within 6 %, poles of 5 to 8 µs, capacitors above the least, zero lifted by 2 %."""
    for amplifier, nominal in zip(build.ranges, (2e6, 2e5), strict=True):
        assert c.full_scale_lx(build, amplifier) == pytest.approx(nominal, rel=0.06)
        assert 5e-6 < c.pole_s(amplifier) < 8e-6
        assert amplifier.c_farad > 2 * c.least_capacitor_f(build, amplifier)
        assert c.resistor_for(build, nominal) == pytest.approx(amplifier.r_ohm, rel=0.06)
        assert c.clipping_lx(build, amplifier) < c.full_scale_lx(build, amplifier)
    assert build.lift_v / build.reference_v == pytest.approx(0.02)
    assert build.ranges[1].r_ohm / build.ranges[0].r_ohm == pytest.approx(10)
