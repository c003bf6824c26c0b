"""The careful analysis of one waveform: definitions, awkward pulses, bad input."""

from __future__ import annotations

import math

import numpy as np
import pytest

from meterlink.photometry import flash
from meterlink.photometry.flash import FlashPulse, Note

INTERVAL_S = 10e-6


def codes(pulse: FlashPulse) -> list[str]:
    """Return what is to be said of a pulse."""
    return [note.code for note in pulse.notes]


def exponential(tau_s=1e-3, peak_lx=1e5, ambient_lx=200.0, before=200, length=2000, noise_lx=0.0, seed=1):
    """Samples of a pulse that rises at once halfway between two samples and decays exponentially."""
    time = (np.arange(length) - before + 0.5) * INTERVAL_S
    light = np.where(time > 0, peak_lx * np.exp(-np.clip(time, 0, None) / tau_s), 0.0) + ambient_lx
    return light + np.random.default_rng(seed).normal(0, noise_lx, length) if noise_lx else light


def test_exponential_pulse_has_its_closed_form_durations():
    """t0.5 is tau ln 2, t0.1 is tau ln 10, the exposure peak times tau, the ambient light what it was."""
    pulse = flash.analyse(exponential(), INTERVAL_S)

    assert pulse.kind == "flash"
    assert pulse.t05_s == pytest.approx(1e-3 * math.log(2), rel=2e-3)
    assert pulse.t01_s == pytest.approx(1e-3 * math.log(10), rel=2e-3)
    assert pulse.exposure_lxs == pytest.approx(100.0, rel=2e-3)
    assert pulse.peak_lx == pytest.approx(1e5, rel=2e-3)
    assert pulse.ambient_lx == pytest.approx(200.0, rel=1e-6)
    assert not pulse.clipped
    assert not pulse.truncated


def test_plain_lists_and_arrays_and_sample_times_agree():
    """A list, an array and the samples' times give the same result."""
    light = exponential(noise_lx=500.0)
    expected = flash.analyse(light, INTERVAL_S)

    assert flash.analyse(light.tolist(), INTERVAL_S) == expected
    other = flash.analyse(light, np.arange(2000) * INTERVAL_S)
    assert other.exposure_lxs == pytest.approx(expected.exposure_lxs, rel=1e-9)
    assert other.t01_s == pytest.approx(expected.t01_s, rel=1e-6)


def wave(shape, ambient_lx=300.0, noise_lx=300.0, interval_s=13e-6, length=1024, before=128, seed=1):
    """Samples of a shape (a function of time after the trigger, in lx) as the sensor would send them."""
    time = (np.arange(length) - before) * interval_s
    return shape(time) + ambient_lx + np.random.default_rng(seed).normal(0.0, noise_lx, length)


def carried(light_codes):
    """Codes of 8 bits of a converter of 10 whose firmware carries what it rounds off on to the next sample."""
    rest, codes = 0.0, []
    for value in light_codes:
        value = math.floor(4.0 * value) / 4.0
        codes.append(math.floor(value + rest))
        rest += value - codes[-1]
    return codes


@pytest.mark.parametrize("seed", [1, 2])
def test_a_converter_that_alternates_is_no_coarsely_sampled_pulse(seed):
    """Twelve codes high over a dark level between two codes: known to 3 %, and said so; its alternation is not the curve's."""
    time = (np.arange(1024) - 128) * 13e-6
    late = np.clip(time, 0.0, None)
    light = 4.5 + 12.0 * (np.exp(-late / 0.7e-3) - np.exp(-late / 40e-6))

    codes = carried(light + np.random.default_rng(seed).normal(0.0, 0.26, time.size))
    pulse = flash.analyse_counts(codes, 1.0, 13e-6, full_scale_code=255, pretrigger=112)

    assert pulse.u_exposure_lxs <= 0.03 * pulse.exposure_lxs
    assert abs(pulse.exposure_lxs - 12.0 * (0.7e-3 - 40e-6)) <= 2.0 * pulse.u_exposure_lxs


def decay(time, tau_s, start_s=0.0):
    """Exponential that starts at once."""
    return np.where(time >= start_s, np.exp(-np.clip(time - start_s, 0, None) / tau_s), 0.0)


def test_segments_of_different_intervals_are_integrated_with_their_own():
    """A slow tail sampled four times as coarsely gives the same exposure and durations."""
    time = np.concatenate((np.arange(400) * 10e-6, 400 * 10e-6 + 15e-6 + np.arange(300) * 40e-6)) - 1e-3
    light = 5e4 * decay(time, 1.5e-3, 5e-6) + 100.0

    pulse = flash.analyse(light, time)

    assert pulse.exposure_lxs == pytest.approx(75.0, rel=5e-3)
    assert pulse.t01_s == pytest.approx(1.5e-3 * math.log(10), rel=5e-3)


def test_humps_add_up_and_their_span_is_told_apart():
    """Two humps apart at half height: t0.5 is the time above it, the span runs from first rise to last fall."""
    light = wave(lambda t: 1e5 * (np.exp(-(((t - 2e-3) / 3e-4) ** 2) / 2) + 0.8 * np.exp(-(((t - 5e-3) / 3e-4) ** 2) / 2)))

    pulse = flash.analyse(light, 13e-6)

    one = 2 * math.sqrt(2 * math.log(2)) * 3e-4
    other = 2 * math.sqrt(2 * math.log(1.6)) * 3e-4
    assert pulse.humps == 2
    assert pulse.t05_s == pytest.approx(one + other, rel=0.02)
    assert pulse.span05_s == pytest.approx(3e-3 + (one + other) / 2, rel=0.01)


def test_flat_top_of_a_cut_off_flash_keeps_its_level():
    """The peak of a flat top is its level, not its noisiest sample, and both durations are its length."""
    pulse = flash.analyse(wave(lambda t: np.where((t > 1e-3) & (t < 3e-3), 5e4, 0.0), noise_lx=500.0), 13e-6)

    assert pulse.peak_lx == pytest.approx(5e4, rel=0.006)
    assert pulse.t05_s == pytest.approx(2e-3, abs=13e-6)
    assert pulse.t01_s == pytest.approx(2e-3, abs=13e-6)
    assert not pulse.clipped


def test_preflash_is_told_and_not_counted():
    """A weak pulse five milliseconds earlier is named with its lead and left out of exposure and durations."""
    light = wave(lambda t: 1e5 * decay(t, 3e-4, 5.5e-3) + 1.5e4 * decay(t, 1e-4, 5e-4))

    pulse = flash.analyse(light, 13e-6)

    assert pulse.exposure_lxs == pytest.approx(30.0, rel=0.02)
    assert pulse.t01_s == pytest.approx(3e-4 * math.log(10), rel=0.03)
    assert pulse.preflash_lxs == pytest.approx(1.5, rel=0.15)
    assert pulse.preflash_lead_s == pytest.approx(5e-3, abs=5e-5)
    assert codes(pulse) == ["pre_flash_left_out"]


def test_late_second_head_counts():
    """Half the light four milliseconds later is part of the exposure: the shutter is open."""
    pulse = flash.analyse(wave(lambda t: 1e5 * decay(t, 3e-4) + 5e4 * decay(t, 3e-4, 4e-3)), 13e-6)

    assert pulse.exposure_lxs == pytest.approx(45.0, rel=0.03)
    assert pulse.preflash_lead_s is None


@pytest.mark.parametrize(("frequency_hz", "resolved"), [(1000.0, True), (20e3, True), (48e3, False)])
def test_train_gives_its_mean_level(frequency_hz, resolved):
    """A train is named, its mean level is right within 1 %, its period only where the samples resolve it."""
    light = wave(lambda t: np.where((t > 1e-3) & (t < 9e-3), 1e5 * np.abs(np.sin(np.pi * frequency_hz * t)), 0.0))

    pulse = flash.analyse(light, 13e-6)

    assert pulse.kind == "train"
    assert pulse.exposure_lxs / 8e-3 == pytest.approx(2e5 / math.pi, rel=0.01)
    assert pulse.t01_s == pytest.approx(8e-3, rel=0.01)
    if resolved:
        assert pulse.train_period_s == pytest.approx(1 / frequency_hz, rel=0.01)
        assert pulse.pulse_count == pytest.approx(8e-3 * frequency_hz, abs=1)
    else:
        assert pulse.train_period_s is None


@pytest.mark.parametrize("given", [True, False])
def test_clipping_is_told_with_bounds(given):
    """A clipped pop says so and its bounds hold the truth, whether full scale is given or guessed."""
    light = np.minimum(wave(lambda t: 1e5 * decay(t, 1e-3)), 5e4)

    pulse = flash.analyse(light, 13e-6, full_scale_lx=5e4 if given else None)

    assert pulse.clipped
    low, high = pulse.exposure_bounds_lxs
    assert low < 100.0 < high * 1.01
    assert pulse.peak_bounds_lx[0] < 1e5 < pulse.peak_bounds_lx[1] * 1.03
    assert pulse.t05_bounds_s[0] <= 1e-3 * math.log(2) <= pulse.t05_bounds_s[1]
    assert pulse.t01_bounds_s[0] <= 1e-3 * math.log(10) <= pulse.t01_bounds_s[1]
    assert "bounds_only" in codes(pulse)


def test_truncated_tail_is_extrapolated_and_said():
    """A record that ends early gives the whole exposure with a bound that holds it."""
    pulse = flash.analyse(wave(lambda t: 1e5 * decay(t, 5e-3)), 13e-6)

    assert pulse.truncated
    assert pulse.exposure_bounds_lxs[0] < 500.0 < pulse.exposure_bounds_lxs[1]
    assert abs(pulse.exposure_lxs - 500.0) < 2 * pulse.u_exposure_lxs
    assert "extrapolated" in codes(pulse)


def test_modelling_lamp_that_goes_dark_is_said_and_bounded():
    """1000 lx that vanish with the pop: both levels are given and the truth lies within the stated doubt."""
    light = wave(lambda t: 1e5 * decay(t, 1e-3) + np.where(t < 0, 1000.0, 0.0), ambient_lx=200.0, noise_lx=100.0)

    pulse = flash.analyse(light, 13e-6)

    assert pulse.ambient_before_lx == pytest.approx(1200.0, abs=30)
    assert pulse.ambient_after_lx == pytest.approx(200.0, abs=30)
    assert 0.0 < pulse.ambient_doubt_lxs < 11.0
    assert abs(pulse.exposure_lxs - 100.0) < pulse.ambient_doubt_lxs + 2 * pulse.u_exposure_lxs
    assert "room_fell" in codes(pulse)


def test_steady_ambient_is_no_doubt():
    """Without a change of ambient light there is no doubt and no note about it."""
    pulse = flash.analyse(wave(lambda t: 1e5 * decay(t, 1e-3)), 13e-6)

    assert pulse.ambient_doubt_lxs == 0.0
    assert pulse.notes == ()


@pytest.mark.parametrize(("frequency_hz", "depth"), [(100.0, 0.5), (120.0, 0.2), (100.0, 1.0)])
def test_mains_flicker_is_steady_light(frequency_hz, depth):
    """Flicker is no pop: mean and modulation are given, t0.1 is not."""
    light = wave(lambda t: 1000 * (1 + depth * np.sin(2 * np.pi * frequency_hz * t)), 0.0, 5.0, length=2048)

    pulse = flash.analyse(light, 13e-6)

    assert pulse.kind == "steady"
    assert pulse.flicker_hz == frequency_hz
    assert pulse.modulation == pytest.approx(depth, abs=0.03)
    assert pulse.t01_s is None
    assert pulse.exposure_lxs == 0.0


def test_flash_on_flickering_room_light_is_a_flash():
    """A pop far above a flickering room keeps its exposure within its uncertainty."""
    light = wave(lambda t: 1e5 * decay(t, 5e-4) + 500 * np.sin(2 * np.pi * 100 * t), 1000.0, 50.0)

    pulse = flash.analyse(light, 13e-6)

    assert pulse.kind == "flash"
    assert pulse.exposure_lxs == pytest.approx(50.0, rel=0.02)


@pytest.mark.parametrize("level", [0.0, 1000.0])
def test_constant_light_is_steady(level):
    """A flat record is steady light with its mean and no modulation."""
    pulse = flash.analyse(np.full(500, level), 1e-5)

    assert (pulse.kind, pulse.mean_lx, pulse.modulation) == ("steady", level, 0.0)


def test_saturated_record_is_said():
    """A record at full scale throughout is marked clipped, with what to do."""
    pulse = flash.analyse(np.full(500, 5e4), 1e-5, full_scale_lx=5e4)

    assert pulse.clipped
    assert "saturated" in codes(pulse)


def test_few_samples_are_said_and_uncertain():
    """Three samples of a pulse give numbers, a note and an uncertainty of the durations that says how little they tell."""
    pulse = flash.analyse([0.0] * 20 + [5, 100, 60, 10, 1] + [0.0] * 20, 1e-4)

    assert pulse.sample_count <= 4
    assert Note("few_samples", {"count": pulse.sample_count}) in pulse.notes
    assert pulse.u_t05_s > 0.05 * pulse.t05_s


def test_durations_that_cannot_be_told_are_not_given():
    """A single bright sample, or a pop drowned in noise, has an exposure but no durations, and says so."""
    spike = flash.analyse([0.0] * 20 + [100.0] + [0.0] * 20, 1e-4)
    assert (spike.t05_s, spike.t01_s) == (None, None)
    untold = [Note("duration_untold", {"duration": name}) for name in ("t0.5", "t0.1")]
    assert [one for one in spike.notes if one.code == "duration_untold"] == untold

    dim = [flash.analyse(wave(lambda t: 700 * decay(t, 1e-3), noise_lx=150.0, seed=k), 13e-6) for k in range(10)]
    assert all(pop.t05_s is None or pop.u_t05_s <= 0.25 * pop.t05_s for pop in dim)


def test_shutter_window_keeps_its_share():
    """A window of t0.5 from the start keeps half of an exponential flash, a long one all."""
    light = exponential()

    half = flash.analyse(light, INTERVAL_S, 1e-3 * math.log(2))
    whole = flash.analyse(light, INTERVAL_S, 0.015)

    assert half.exposure_lxs / half.total_exposure_lxs == pytest.approx(0.5, abs=0.005)
    assert half.notes == (Note("window_keeps", {"share": half.exposure_lxs / half.total_exposure_lxs}),)
    assert whole.notes == ()
    assert whole.exposure_lxs == pytest.approx(100.0, rel=3e-3)


def test_counts_agree_with_light():
    """Codes with their scale and zero give what the same samples in lx give."""
    raw = np.floor(exponential(peak_lx=3500.0, ambient_lx=20.0, noise_lx=8.0)).astype(np.uint16)

    by_codes = flash.analyse_counts(raw, 30.0, INTERVAL_S, zero_code=-0.5, full_scale_code=4095)
    by_light = flash.analyse((raw + 0.5) * 30.0, INTERVAL_S)

    assert by_codes.exposure_lxs == pytest.approx(by_light.exposure_lxs, rel=1e-6)
    assert by_codes.t05_s == pytest.approx(by_light.t05_s, rel=1e-6)


def test_many_samples_give_the_same_as_few():
    """Averaging of neighbours in a fine record changes nothing that matters."""
    time = (np.arange(60_000) - 6000.5) * 2e-7
    light = 1e5 * decay(time, 1e-3) + np.random.default_rng(3).normal(0, 1000.0, time.size)

    pulse = flash.analyse(light, 2e-7)

    assert pulse.t01_s == pytest.approx(1e-3 * math.log(10), rel=5e-3)
    assert pulse.exposure_lxs == pytest.approx(100.0, rel=5e-3)


class _Endless(list):
    """A list that claims to be huge."""

    def __len__(self):
        return 100_000_000


@pytest.mark.parametrize(
    ("light", "interval", "words"),
    [
        ([], 1e-5, "too short"),
        ([1.0], 1e-5, "too short"),
        (_Endless(), 1e-5, "too long"),
        (None, 1e-5, "list or an array"),
        (["a"] * 10, 1e-5, "numbers"),
        ([[1.0, 2.0]] * 9, 1e-5, "one row"),
        ([1.0, float("nan")] * 9, 1e-5, "not numbers"),
        ([1.0, float("inf")] * 9, 1e-5, "not numbers"),
        ([1.0] * 9, 0.0, "positive"),
        ([1.0] * 9, -1e-5, "positive"),
        ([1.0] * 9, float("nan"), "positive"),
        ([1.0] * 9, None, "sample times"),
        ([1.0] * 9, "ms", "interval must be"),
        ([1.0] * 9, [0.0, 1.0], "sample times"),
        ([1.0] * 9, [9.0, 8, 7, 6, 5, 4, 3, 2, 1], "increase"),
        ([1.0] * 9, [(9, 0.0)], "sample times"),
        ([0.0] * 50 + [100.0] * 50, 1e-5, "lamp"),
        ([-50.0] * 50 + [100.0] * 10 + [-50.0] * 50, 1e-5, "negative"),
    ],
)
def test_bad_waveforms_are_refused_in_one_line(light, interval, words):
    """Empty, huge, non-numeric, negative data and impossible intervals raise ValueError that says why."""
    with pytest.raises(ValueError, match=words) as caught:
        flash.analyse(light, interval)
    assert "\n" not in str(caught.value)


def test_bad_shutter_and_scale_are_refused():
    """A shutter time or a scale that is not positive is refused."""
    with pytest.raises(ValueError, match="shutter_s"):
        flash.analyse(exponential(), INTERVAL_S, 0.0)
    with pytest.raises(ValueError, match="scale_lx"):
        flash.analyse_counts([1] * 20, 0.0, INTERVAL_S)
    with pytest.raises(ValueError, match="full_scale_lx"):
        flash.analyse(exponential(), INTERVAL_S, full_scale_lx=-1.0)


@pytest.mark.parametrize("seed", range(40))
def test_random_records_never_crash(seed):
    """Whatever the samples, the result is finite numbers or one ValueError."""
    rng = np.random.default_rng(seed)
    size = int(rng.integers(4, 400))
    light = np.abs(rng.normal(0, 1, size)) ** rng.integers(1, 8) * 10 ** rng.uniform(-3, 6)
    if seed % 3 == 0:
        light = np.floor(light)
    try:
        pulse = flash.analyse(light, 1e-5, full_scale_lx=float(light.max()) or None if seed % 2 else None)
    except ValueError:
        return
    assert math.isfinite(pulse.exposure_lxs)
    assert math.isfinite(pulse.peak_lx)
    for value in (pulse.t05_s, pulse.t01_s):
        assert value is None or (math.isfinite(value) and value >= 0.0)
