"""What a shutter keeps of a flash."""

from __future__ import annotations

import math

import pytest

from meterlink.photometry import shutter
from meterlink.photometry.shutter import Shutter


def test_leaf_shutter_loses_evenly():
    """A leaf shutter keeps the same share everywhere: t0.1 long enough for 90 %."""
    kept = shutter.kept_of_t01(Shutter("leaf", 1 / 256), 1 / 256)

    assert kept.least == kept.most == pytest.approx(0.9)
    assert kept.band_share == 0.0
    assert kept.loss_stops == pytest.approx(math.log2(0.9))


def test_focal_plane_below_sync_speed_loses_in_the_rows_covered_first():
    """Rows that are covered first lose more of a slow flash than those covered last."""
    slow = Shutter("focal-plane", 1 / 128, travel_s=1 / 256)

    kept = shutter.kept_of_t01(slow, 1 / 200)

    assert kept.least == pytest.approx(shutter.share_within(1 / 256, 1 / 200))
    assert kept.most == pytest.approx(shutter.share_within(1 / 128, 1 / 200))
    assert kept.least < kept.mean < kept.most
    assert kept.dark_share == 0.0


def test_faster_than_the_curtain_leaves_a_dark_band():
    """At half the curtain's travel half of the frame gets nothing."""
    kept = shutter.kept_of_t01(Shutter("focal-plane", 1 / 512, travel_s=1 / 256), 1e-6)

    assert kept.dark_share == pytest.approx(0.5, abs=0.011)
    assert kept.most == pytest.approx(1.0)
    assert kept.loss_stops == -math.inf


def test_time_fully_open_is_time_less_travel():
    """Shutter time less curtain travel, never negative."""
    assert shutter.fully_open_s(Shutter("focal-plane", 1 / 128, 1 / 256)) == pytest.approx(1 / 256)
    assert shutter.fully_open_s(Shutter("electronic", 1 / 500, 1 / 30)) == 0.0


def test_trigger_delay_shortens_the_window():
    """A radio trigger that fires a millisecond late takes a millisecond off."""
    on_time = shutter.window_s(Shutter("leaf", 1 / 256))

    assert shutter.window_s(Shutter("leaf", 1 / 256, delay_s=1e-3)) == pytest.approx(on_time - 1e-3)


def test_recorded_wave_and_closed_form_agree():
    """The share of a finely recorded exponential is the closed form's."""
    tau = 1e-3
    times = [k * 1e-6 for k in range(20_001)]
    light = [math.exp(-t / tau) for t in times]
    setting = Shutter("focal-plane", 1 / 250, travel_s=1 / 300)

    by_wave = shutter.kept_of_wave(setting, times, light, 0.0)
    by_formula = shutter.kept_of_t01(setting, tau * math.log(10))

    assert by_wave == pytest.approx(by_formula, rel=1e-5)


def test_train_exposure_is_mean_times_open_time():
    """High-speed sync: every row sees the mean level for as long as it is open, whatever the travel."""
    assert shutter.train_exposure_lxs(64_000, Shutter("focal-plane", 1 / 8000, 1 / 250)) == pytest.approx(8.0)


def test_beyond_the_sync_speed():
    """Faster than the sync speed is told, by more than the rounding of its name; a leaf shutter has none."""
    assert shutter.beyond_sync(Shutter("focal-plane", 1 / 406))
    assert not shutter.beyond_sync(Shutter("leaf", 1 / 512))
    assert not shutter.beyond_sync(Shutter("focal-plane", 1 / 203.2))


@pytest.mark.parametrize(
    "bad",
    [Shutter("curtain", 0.01), Shutter("leaf", 0.0), Shutter("leaf", math.nan), Shutter("leaf", 0.01, -1.0)],
)
def test_impossible_shutters_are_refused(bad):
    """An unknown kind, a time that is not positive or a negative travel raise ValueError."""
    with pytest.raises(ValueError, match=r"shutter|travel"):
        shutter.window_s(bad)


def test_impossible_arguments_are_refused():
    """Rows outside the frame, t0.1 of zero and waves without light raise ValueError."""
    with pytest.raises(ValueError, match="row"):
        shutter.window_s(Shutter("leaf", 0.01), 1.5)
    with pytest.raises(ValueError, match=r"t0\.1"):
        shutter.share_within(0.01, 0.0)
    with pytest.raises(ValueError, match="light"):
        shutter.share_of_wave([0.0, 1.0], [0.0, 0.0], 0.0)
    with pytest.raises(ValueError, match="samples"):
        shutter.share_of_wave([0.0], [1.0], 0.0)
    with pytest.raises(ValueError, match="sync"):
        shutter.beyond_sync(Shutter("leaf", 0.01), sync_speed_s=0.0)
