"""Flash durations against closed forms and against scipy on the same samples; room light and shutter figures.

t0.5 and t0.1 are attributed to ISO 2827 by drkrishi.co.in/demystifying-flash-duration (seen-2: the standard's own
definition clause was not seen).  Closed forms of pulses have no published counterpart: they are mathematics.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy

from meterlink.photometry import ambient, flash, shutter

SAMPLES = 20_000


def analysed(shape, start, end):
    """Analyse a noise-free shape with quiet ends; times in units of the shape."""
    step = (end - start) / SAMPLES
    time = start + (np.arange(SAMPLES) + 0.37) * step
    return flash.analyse(1e4 * shape(time), step), time, step


def decay(time):
    """Exponential of time constant 1."""
    return np.where(time >= 0, np.exp(-np.clip(time, 0, 700)), 0.0)


def double(rise):
    """Double exponential of fall time 1."""
    return lambda t: np.where(t >= 0, np.exp(-np.clip(t, 0, 700)) - np.exp(-np.clip(t, 0, 700) / rise), 0.0)


SHAPES = {
    "exponential": (decay, -2, 14, math.log(2), math.log(10), math.log(10) / math.log(2)),
    "gaussian": (lambda t: np.exp(-t * t / 2), -8, 8, 2.354820, 4.291932, 1.822616),
    "half sine": (lambda t: np.sin(np.pi * np.clip(t, 0, 1)), -0.5, 1.5, 0.666667, 0.936231, 1.404347),
    "triangle": (lambda t: np.clip(1 - np.abs(t), 0, None), -2, 2, 1.0, 1.8, 1.8),
    "rectangle": (lambda t: np.where(np.abs(t) < 0.5, 1.0, 0.0), -1, 1, 1.0, 1.0, 1.0),
    "double exponential, rise 0.05": (double(0.05), -2, 14, 0.873675, 2.507074, 2.869573),
    "double exponential, rise 0.2": (double(0.2), -2, 14, 1.227232, 2.914136, 2.374560),
    "cut-off exponential at 1.5": (lambda t: np.where(t < 1.5, decay(t), 0.0), -1, 3, 0.693147, 1.5, 2.164043),
    "cut-off exponential at 0.5": (lambda t: np.where(t < 0.5, decay(t), 0.0), -1, 2, 0.5, 0.5, 1.0),
}


@pytest.mark.parametrize("name", SHAPES)
def test_closed_forms_of_pulses(name):
    """t0.5, t0.1 and their ratio are those of the closed form, within the sampling of the record."""
    shape, start, end, t05, t01, ratio = SHAPES[name]
    pulse, _, _ = analysed(shape, start, end)

    assert pulse.t05_s == pytest.approx(t05, rel=4e-3)
    assert pulse.t01_s == pytest.approx(t01, rel=4e-3)
    assert pulse.t01_s / pulse.t05_s == pytest.approx(ratio, rel=6e-3)


def test_t01_is_about_three_times_t05():
    """mikalsenon.net/glossary/flash-duration (seen): about three; an exponential has ln 10 / ln 2 = 3.32."""
    pulse, _, _ = analysed(decay, -2, 14)
    assert pulse.t01_s / pulse.t05_s == pytest.approx(3.321928, rel=4e-3)
    assert pulse.t01_s / pulse.t05_s == pytest.approx(3, rel=0.12)


@pytest.mark.parametrize("name", ["gaussian", "half sine", "triangle", "double exponential, rise 0.2"])
def test_same_widths_as_scipy(name):
    """scipy.signal.peak_widths at half and nine tenths of the prominence finds the same widths on the same samples."""
    shape, start, end, *_ = SHAPES[name]
    pulse, time, step = analysed(shape, start, end)
    light = 1e4 * shape(time)
    peaks, _ = scipy.signal.find_peaks(light, height=light.max() * 0.999)
    half = scipy.signal.peak_widths(light, peaks[:1], rel_height=0.5)[0][0] * step
    tenth = scipy.signal.peak_widths(light, peaks[:1], rel_height=0.9)[0][0] * step

    assert pulse.t05_s == pytest.approx(half, rel=4e-3)
    assert pulse.t01_s == pytest.approx(tenth, rel=4e-3)


@pytest.mark.parametrize("name", SHAPES)
def test_same_exposure_as_scipy(name):
    """scipy's trapezoidal and Simpson integrals of the same samples give the same exposure."""
    shape, start, end, *_ = SHAPES[name]
    pulse, time, _ = analysed(shape, start, end)
    light = 1e4 * shape(time)

    assert pulse.exposure_lxs == pytest.approx(scipy.integrate.trapezoid(light, time), rel=1e-3)
    assert pulse.exposure_lxs == pytest.approx(scipy.integrate.simpson(light, x=time), rel=1e-3)


def test_codes_have_the_widths_of_scipy():
    """On integer codes, as a converter gives them, half width and tenth width are scipy's within two samples of 2355."""
    time = np.linspace(-4, 4, 4001)
    codes = np.round(3000 * np.exp(-time * time / 2)).astype(np.uint16)
    peaks, _ = scipy.signal.find_peaks(codes, height=2990)
    half, tenth = (scipy.signal.peak_widths(codes.astype(float), peaks[:1], rel_height=h)[0][0] for h in (0.5, 0.9))
    pulse = flash.analyse_counts(codes, 1.0, 1.0)

    assert pulse.t05_s == pytest.approx(half, abs=2.0)
    assert pulse.t01_s == pytest.approx(tenth, abs=2.0)


def test_hundred_lux_seconds():
    """100 klx peak, 1 ms time constant: 100 lx·s (mathematics); light inside t0.5 is 50 %, inside t0.1 90 %."""
    time = (np.arange(40_000) - 4000.5) * 5e-7
    light = 1e5 * decay(time / 1e-3)

    whole = flash.analyse(light, 5e-7)
    half = flash.analyse(light, 5e-7, whole.t05_s)
    most = flash.analyse(light, 5e-7, whole.t01_s)

    assert whole.exposure_lxs == pytest.approx(100.0, rel=1e-3)
    assert half.exposure_lxs / whole.exposure_lxs == pytest.approx(0.5, abs=2e-3)
    assert most.exposure_lxs / whole.exposure_lxs == pytest.approx(0.9, abs=2e-3)


@pytest.mark.parametrize(
    ("window", "share", "stops"),
    [
        (math.log10(2), 0.5, -1.0),
        (1.0, 0.9, -0.152003),
        (2.0, 0.99, -0.014500),
        (1 / math.log(10), 0.632121, -0.661728),
        (3 / math.log(10), 0.950213, -0.073677),
    ],
)
def test_shutter_window_of_an_exponential(window, share, stops):
    """Closed forms (mathematics): window in units of t0.1, share kept and stops lost."""
    kept = shutter.kept_of_t01(shutter.Shutter("leaf", window), 1.0)
    assert kept.least == pytest.approx(share, abs=1e-6)
    assert kept.loss_stops == pytest.approx(stops, abs=2e-6)


def test_modelling_lamp_costs_what_the_trade_says():
    """Own arithmetic: 1000 lx that vanish over 11 ms are 0.8 stop at f/2.8 (C 330, ISO 100, exact f-number)."""
    exposure_lxs = 8 * 330 / 100
    assert math.log2(exposure_lxs / (exposure_lxs - 11.0)) == pytest.approx(0.8, abs=0.03)


@pytest.mark.parametrize(
    ("k", "added", "share"),
    [
        (-2, 2.321928, 80), (-1, 1.584963, 66.6667), (0, 1, 50), (0.5, 0.771553, 41.4214), (1, 0.584963, 33.3333),
        (1.5, 0.436752, 26.1204), (2, 0.321928, 20), (3, 0.169925, 11.1111), (4, 0.087463, 5.8824),
        (5, 0.044394, 3.0303), (6, 0.022368, 1.5385),
    ],
)  # fmt: skip
def test_room_light_with_flash(k, added, share):
    """Published form log2(1 + 1/n), n = 4 for two stops: whatdoineed2do.blogspot.com 2012/04 (seen); the rest by it."""
    assert ambient.added_stops(k) == pytest.approx(added, abs=1e-6)
    assert 100 * ambient.room_share(k) == pytest.approx(share, abs=1e-4)


@pytest.mark.parametrize(("added", "k"), [(0.1, 3.800406), (1 / 3, 1.943855), (0.05, 4.825622)])
def test_stops_at_which_the_room_adds_little(added, k):
    """Inverse of the published form (own figures): a tenth of a stop at 3.8 stops, a third at 1.94."""
    assert ambient.stops_for_added(added) == pytest.approx(k, abs=1e-6)


def test_two_to_four_stops_above_the_room():
    """Common practice, no published source: two to four stops are clean; at two the room still adds a third of a stop."""
    assert ambient.CLEAN_STOPS == (2.0, 4.0)
    assert ambient.added_stops(2.0) == pytest.approx(1 / 3, abs=0.02)
    assert ambient.added_stops(3.81) < 0.1
