"""Every measurement that becomes no reading carries why, with the numbers that the reason rests on."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from meterlink.records import (
    Calibration,
    Evidence,
    Identity,
    Measurement,
    PopNotice,
    RangeScale,
    Segment,
    Steady,
    Trouble,
    WaveBlock,
)
from meterlink.sensor.measuring.intake import Intake, Outlets
from meterlink.sensor.measuring.levels import level
from meterlink.simulation.chip_model import ChipModel, Light
from meterlink.simulation.studio import Pulse

CALIBRATION = Calibration("c", "s", 0.0, 330.0, ranges=(RangeScale(2e6, 0.02), RangeScale(2e5, 0.02)))
IDENTITY = ChipModel().identity._replace(sensor_id="s")
STEP_S = 13e-6


def measured(wave: Light | WaveBlock, *, range_index: int = 0, identity: Identity | None = IDENTITY) -> Measurement:
    """Return what an intake makes of a light (as codes of the simulated chip) or of a block."""
    found: list[Measurement] = []
    intake = Intake("url", lambda _: CALIBRATION, Outlets(found.append, found.append, lambda _: None, lambda _: None))
    if identity is not None:
        intake.meet(identity)
    intake.take(wave if isinstance(wave, WaveBlock) else block_of(wave, range_index))
    return found[-1]


def block_of(light: Light, range_index: int = 0, samples: int = 1024, pretrigger: int = 128) -> WaveBlock:
    """Return the block of a light as the simulated chip codes it."""
    chip = ChipModel()
    at = light.illuminance_lx if isinstance(light, Pulse) else light
    chip.range_index = range_index
    codes = bytes(chip._code(60.0 + (at(k * STEP_S) if k >= 0 else 0.0)) for k in range(-pretrigger, samples - pretrigger))
    return WaveBlock(1.0, 1, codes, 8, 8, (Segment(0, samples, STEP_S),), pretrigger, range_index, max(codes) == 255)


def lamp(t_s: float) -> float:
    """A lamp that is switched on."""
    return 6e5 * (1.0 - math.exp(-t_s / 1e-3))


def long_flash(t_s: float) -> float:
    """A flash whose decay is longer than the record."""
    return 9e5 * (math.exp(-t_s / 12e-3) - math.exp(-t_s / 0.2e-3)) if t_s > 0.0 else 0.0


def very_long_flash(t_s: float) -> float:
    """A flash that has lost a tenth when the record ends."""
    return 9e5 * (math.exp(-t_s / 0.12) - math.exp(-t_s / 0.2e-3)) if t_s > 0.0 else 0.0


def evidence(light: Light | WaveBlock, range_index: int = 0) -> Evidence:
    """Return the numbers that a refusal rests on."""
    found = measured(light, range_index=range_index).evidence
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("light", "trouble"),
    [(lamp, Trouble.LAMP), (long_flash, Trouble.TOO_LONG), (very_long_flash, Trouble.TOO_LONG), (lambda _: 0.0, Trouble.NO_FLASH)],
)
def test_what_is_no_flash_or_does_not_fit_says_so(light: Callable[[float], float], trouble: Trouble) -> None:
    """A lamp, a flash too long for the record and nothing at all are three reasons, not one called damaged."""
    found = measured(light)
    assert found.incomplete
    assert found.trouble is trouble
    assert evidence(light).record_s == pytest.approx((1024 - 128) * STEP_S)


def test_a_lamp_and_a_long_flash_tell_their_numbers() -> None:
    """The light that a lamp came to, and how much of a long flash was left when the memory was full."""
    assert evidence(lamp).level_lx == pytest.approx(6e5, rel=0.03)
    assert evidence(long_flash).left == pytest.approx(math.exp(-(1024 - 128) * STEP_S / 12e-3), rel=0.15)


def test_a_record_that_holds_a_part_only_is_cut_short() -> None:
    """Fewer samples than the sensor keeps, ending inside the pop, or beginning inside it: cut short, not too long."""
    ends = block_of(Pulse(900.0, fall_s=2e-3), samples=220)
    whole = block_of(Pulse(1500.0, fall_s=2e-3))
    # the first 20 samples after the trigger and all before are missing
    begins = whole._replace(data=whole.data[148:], segments=(Segment(0, 1024 - 148, STEP_S),), pretrigger=0)
    assert measured(ends).trouble is Trouble.CUT_SHORT
    assert measured(begins).trouble is Trouble.CUT_SHORT


def test_clipped_and_too_dim_say_how_high_and_what_comes_next() -> None:
    """The peak as part of full scale, and the range that the next pop is taken on (none where no range fits better)."""
    assert [evidence(Pulse(30.0)).next_range, evidence(Pulse(2.0), 1).next_range] == [1, None]
    assert [evidence(Pulse(600.0), 1).next_range, evidence(Pulse(6000.0)).next_range] == [0, None]
    assert evidence(Pulse(30.0)).peak_raw == pytest.approx(Pulse(30.0).peak_lx / 2e6, abs=0.01)
    assert (evidence(Pulse(6000.0)).peak_raw or 0.0) > 0.97


def test_a_block_beyond_its_own_full_scale_is_unreadable() -> None:
    """Codes that cannot be are no pop of the photographer's making: the reason says unreadable."""
    block = block_of(Pulse(900.0))
    wide = bytes(b for code in block.data for b in (code, 1))
    assert measured(block._replace(data=wide, bits=16)).trouble is Trouble.UNREADABLE


def test_what_did_not_arrive_or_has_no_scale_says_which() -> None:
    """Data lost on the way, a pop before the greeting and a range without calibration are told apart."""
    found: list[Measurement] = []
    intake = Intake("url", lambda _: CALIBRATION, Outlets(found.append, found.append, lambda _: None, lambda _: None))
    intake.take(block_of(Pulse(900.0)))
    intake.meet(IDENTITY)
    intake.tell_missing([PopNotice(2.0, 2)])
    intake.take(block_of(Pulse(900.0))._replace(pop=3, range_index=2))
    assert [m.trouble for m in found] == [Trouble.TOO_EARLY, Trouble.LOST_DATA, Trouble.UNCALIBRATED]


def test_a_good_pop_and_a_good_level_are_not_refused() -> None:
    """A clean pop and a clean level of steady light carry no reason."""
    found = measured(Pulse(900.0)), level(Steady(1.0, 0.5), "s", CALIBRATION)
    assert [(m.trouble, m.evidence) for m in found] == [(None, None), (None, None)]
