"""What came beside a pop is taken with it only where it belongs to it: clipping, the room's light, its foot, its colour."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest

from meterlink.records import (
    Calibration,
    Colour,
    HeldOff,
    Measurement,
    PopFigures,
    PopNotice,
    RangeScale,
    Sample,
    Segment,
    Status,
    Steady,
    Trouble,
    WaveBlock,
)
from meterlink.sensor.measuring import flash
from meterlink.sensor.measuring.intake import Intake, Outlets
from meterlink.simulation.chip_model import ChipModel
from meterlink.simulation.studio import Pulse

FULL_LX, DARK = 2e6, 0.02
CALIBRATION = Calibration("c", "s", 0.0, 330.0, ranges=(RangeScale(FULL_LX, DARK), RangeScale(2e5, DARK)))
IDENTITY = ChipModel().identity._replace(sensor_id="s")
STEP_S = 13e-6
AT_S = 100.0


class Taken(NamedTuple):
    """What an intake has delivered."""

    pops: list[Measurement]
    levels: list[Measurement]

    @property
    def pop(self) -> Measurement:
        """The last one."""
        return self.pops[-1]


def taken(*samples: Sample, calibration: Calibration = CALIBRATION) -> Taken:
    """Return what becomes of samples, in their order."""
    found = Taken([], [])
    intake = Intake("url", lambda _: calibration, Outlets(found.pops.append, found.levels.append, lambda _: None, lambda _: None))
    intake.meet(IDENTITY)
    for sample in samples:
        intake.take(sample)
    return found


def pulse_to(code: float, fall_s: float = 0.7e-3, rise_s: float = 40e-6) -> Pulse:
    """Return a pulse whose peak is this many codes of the bright range."""
    unit = Pulse(1.0, rise_s, fall_s)
    return unit._replace(exposure_lxs=code / 256 * FULL_LX / unit.peak_lx)


def block(pulse: Pulse, *, room_lx: float = 0.0, dark: float = DARK, noise: float = 0.0, pretrigger: int = 128, foot: int = 0,
          number: int = 1, at_s: float = AT_S) -> WaveBlock:  # fmt: skip
    """Return a pop as a truncating converter of 8 bits codes it; it triggered ``foot`` samples after its beginning."""
    rng = np.random.default_rng(4)
    light = np.array([room_lx + pulse.illuminance_lx((k + foot) * STEP_S) for k in range(-pretrigger, 1024 - pretrigger)])
    codes = (dark + light / FULL_LX) * 256 + rng.normal(0.0, noise, light.size)
    data = np.clip(codes, 0, 255).astype(np.uint8).tobytes()
    return WaveBlock(at_s, number, data, 8, 8, (Segment(0, 1024, STEP_S),), pretrigger)


def room(lux: float, at_s: float, range_index: int = 0) -> Steady:
    """Return steady light as ten bits see it."""
    raw = DARK + lux / CALIBRATION.ranges[range_index].full_scale_lx
    return Steady(at_s, raw, range_index, raw_min=raw - 0.5 / 1024, raw_max=raw + 0.5 / 1024)


def test_the_sensors_word_and_the_waveform_each_suffice_for_clipped() -> None:
    """A converter that was overrun between two kept samples says so itself; one that says nothing is seen by its codes."""
    whole, cut = block(pulse_to(140.0)), block(pulse_to(400.0))

    assert not taken(whole).pop.clipped
    assert taken(whole._replace(clipped=True)).pop.clipped
    assert not cut.clipped
    assert taken(cut).pop.clipped


def test_a_pop_that_gives_no_figures_keeps_that_it_clipped() -> None:
    """A waveform from which nothing follows is still told as clipped when the sensor says so."""
    nothing = block(pulse_to(0.0), noise=0.5)

    assert [taken(nothing._replace(clipped=said)).pop.clipped for said in (False, True)] == [False, True]
    assert taken(nothing._replace(clipped=True)).pop.trouble is Trouble.NO_FLASH


def test_a_flash_that_the_sensor_integrated_itself_keeps_that_it_clipped() -> None:
    """Marked, and the photographer is told what to do."""
    whole, cut = (taken(PopFigures(AT_S, 100.0, 0.02, clipped=said)).pop for said in (False, True))

    assert (whole.clipped, whole.note) == (False, "")
    assert cut.clipped
    assert "lower the power" in str(cut.note)


@pytest.mark.parametrize(("top", "clips"), [(254, False), (255, True)])
def test_the_highest_code_is_the_only_one_that_clips(top: int, clips: bool) -> None:
    """Code 255 of 8 bits may stand for any light above it; 254 is a light like another."""
    pop = block(pulse_to(top + 0.5 - DARK * 256))

    assert max(pop.data) == top
    assert taken(pop).pop.clipped is clips


def test_a_code_stands_for_the_middle_of_its_step() -> None:
    """30,000 lx of room light under a pop read 30,000 lx, in figures, plot and peak; half a step would be 3,900 lx."""
    pop = block(pulse_to(60.0), room_lx=30_000.0, noise=0.6)
    found = taken(pop).pop
    _, light_lx = flash.wave_of(pop, CALIBRATION)

    assert found.ambient_lx == pytest.approx(30_000.0, abs=1000.0)
    assert float(light_lx[:120].mean()) == pytest.approx(30_000.0, abs=1000.0)
    assert flash.peak_raw(pop, CALIBRATION) == pytest.approx((max(pop.data) + 0.5) / 256 - DARK, abs=1e-9)


@pytest.mark.parametrize("fall_s", [0.7e-3, 1.2e-3])
@pytest.mark.parametrize("pretrigger", [4, 6, 12])
def test_a_foot_before_the_trigger_is_not_the_rooms_light(pretrigger: int, fall_s: float) -> None:
    """A slow pop was already rising for three samples when it triggered: its exposure is right within 1 %."""
    pulse = pulse_to(95.0, fall_s, rise_s=0.3e-3)
    floor = CALIBRATION._replace(ranges=(RangeScale(FULL_LX, 0.0),))
    found = taken(block(pulse, dark=0.0, pretrigger=pretrigger, foot=3), calibration=floor).pop

    assert found.trouble is None
    assert found.exposure_lxs == pytest.approx(pulse.exposure_lxs, rel=0.01)


def test_room_light_counts_from_the_same_range_and_the_last_two_seconds_only() -> None:
    """Finer steady light corrects what a calm converter hides of a pop; of another range or long ago it says nothing."""
    pulse = pulse_to(30.0)
    pop = block(pulse, room_lx=500.0)
    alone = taken(pop).pop.exposure_lxs

    assert taken(room(500.0, AT_S - 1.9), pop).pop.exposure_lxs == pytest.approx(pulse.exposure_lxs, rel=0.02)
    assert alone != pytest.approx(pulse.exposure_lxs, rel=0.03)
    assert taken(room(500.0, AT_S - 2.1), pop).pop.exposure_lxs == alone
    assert taken(room(500.0, AT_S - 0.1, range_index=1), pop).pop.exposure_lxs == alone


def test_room_light_beside_a_sensors_own_figures_is_of_the_last_two_seconds() -> None:
    """A flash integrated by the sensor carries the lux that it said just before, none from long ago."""
    lux = CALIBRATION._replace(ranges=(RangeScale(1.0),))
    pop = PopFigures(AT_S, 100.0, 0.02)
    ambient = [taken(Steady(at_s, None, illuminance_lx=300.0), pop, calibration=lux).pop.ambient_lx for at_s in (98.1, 97.9)]

    assert ambient == [300.0, None]


def test_a_colour_is_of_the_pop_or_of_the_room_and_not_of_both() -> None:
    """What came during the pop is not the modelling lamp's, and the lamp's is not the pop's."""
    daylight, lamp = (0.3127, 0.3290), (0.4476, 0.4075)
    pop, after = block(pulse_to(140.0)), room(500.0, AT_S + 0.1)
    during, between = Colour(AT_S, *daylight, during_pop=True), Colour(AT_S, *lamp)

    of_pop, of_room = taken(during, pop, after), taken(between, pop, after)

    assert (of_pop.pop.x, of_pop.pop.y) == daylight
    assert of_pop.levels[-1].x is None
    assert of_room.pop.x is None
    assert (of_room.levels[-1].x, of_room.levels[-1].y) == lamp
    assert taken(during, after).levels[-1].x is None


def test_the_colour_of_a_pop_is_not_the_next_ones() -> None:
    """It is used once, and one that came more than two seconds before is of none."""
    during = Colour(AT_S, 0.3127, 0.3290, during_pop=True)
    soon, late = (block(pulse_to(140.0), number=2, at_s=AT_S + wait_s) for wait_s in (1.0, 2.1))

    assert [pop.x for pop in taken(during, block(pulse_to(140.0)), soon).pops] == [0.3127, None]
    assert taken(during, soon).pop.x == 0.3127
    assert taken(during, late).pop.x is None


def test_a_distance_said_long_before_is_not_of_this_pop() -> None:
    """The dome was 21 cm off two seconds ago: since then it may have been carried anywhere."""
    pop = block(pulse_to(140.0))

    assert [taken(HeldOff(at_s, 0.21), pop).pop.held_off_m for at_s in (98.1, 97.9)] == [0.21, None]


def test_a_record_cut_short_is_doubted_only_when_it_matters() -> None:
    """With 1 % of the light missing at the end the pop counts; with 5 %, or nothing to bound it by, it is asked for again."""
    nearly, too_long = block(pulse_to(100.0, 3e-3), noise=0.5), block(pulse_to(100.0, 5e-3), noise=0.5)
    whole = block(pulse_to(140.0), noise=0.5)

    for said in (False, True):
        counts = taken(nearly._replace(truncated=said)).pop
        assert counts.trouble is None
        assert counts.exposure_lxs == pytest.approx(pulse_to(100.0, 3e-3).exposure_lxs, rel=0.02)
        assert taken(too_long._replace(truncated=said)).pop.trouble is Trouble.TOO_LONG
    assert taken(whole).pop.trouble is None
    assert taken(whole._replace(truncated=True)).pop.trouble is Trouble.TOO_LONG


@pytest.mark.parametrize(("before", "now", "told"), [(4, 5, True), (0xFFFF, 0, True), (5, 5, False), (5, 4, False)])
def test_a_flash_that_could_not_be_kept_is_told_when_the_count_wraps_too(before: int, now: int, told: bool) -> None:
    """The sensor's count of 16 bits begins again at 0; one that goes back is an old message, not 65,535 flashes."""
    said = Status(AT_S - 1.0, 0, True, pops_lost=before), Status(AT_S + 0.2, 0, True, pops_lost=now)
    found = taken(said[0], PopNotice(AT_S, 1), block(pulse_to(140.0)), said[1])

    assert [pop.trouble for pop in found.pops] == [None, Trouble.WHICH_FLASH][: 1 + told]


def test_a_sample_stands_for_the_middle_of_its_interval() -> None:
    """Times count from the trigger; where intervals double, the middle of the first long one lies one and a half short ones on."""
    block = WaveBlock(0.0, 1, bytes(6), 8, 8, (Segment(0, 4, 10e-6), Segment(4, 2, 20e-6)), 2)

    times_s, _ = flash.wave_of(block, CALIBRATION)

    assert times_s * 1e6 == pytest.approx([-15.0, -5.0, 5.0, 15.0, 30.0, 50.0])
