"""An amplifier that stops below the converter's full scale: seen from the shape and from the calibration, never a good reading."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest

from meterlink.calibration.calibrate import evidence_of
from meterlink.calibration.procedure import Procedure, Task
from meterlink.metering.outcome import OutcomeCode, OutcomeKind
from meterlink.metering.session import Session
from meterlink.records import Calibration, Measurement, RangeScale, Segment, Steady, WaveBlock
from meterlink.sensor.measuring.intake import Intake, Outlets
from meterlink.sensor.measuring.levels import level
from meterlink.simulation.chip_model import ChipModel
from meterlink.simulation.studio import Pulse

FULL_LX, DARK = 2e6, 0.02
CALIBRATION = Calibration("c", "s", 0.0, 330.0, ranges=(RangeScale(FULL_LX, DARK),))
STEP_S = 13e-6


def measured(light: Callable[[float], float], calibration: Calibration = CALIBRATION) -> Measurement:
    """Return what an intake makes of light above a dim room, on the only range of the simulated chip."""
    chip = ChipModel()
    codes = bytes(chip._code(60.0 + (light(k * STEP_S) if k >= 0 else 0.0)) for k in range(-128, 896))
    found: list[Measurement] = []
    intake = Intake("url", lambda _: calibration, Outlets(found.append, found.append, lambda _: None, lambda _: None))
    intake.meet(chip.identity._replace(sensor_id="s", ranges=("bright",)))
    intake.take(WaveBlock(1.0, 1, codes, 8, 8, (Segment(0, 1024, STEP_S),), 128, 0, max(codes) == 255))
    return found[-1]


def stopped(overload: float, ceiling: float, fall_s: float = 0.7e-3) -> Measurement:
    """Return the measurement of a flash of ``overload`` times the light at which the amplifier stops (a part of full scale)."""
    top_lx = (ceiling - DARK) * FULL_LX
    unit = Pulse(1.0, fall_s=fall_s)
    pulse = unit._replace(exposure_lxs=overload * top_lx / unit.peak_lx)
    return measured(lambda t: min(pulse.illuminance_lx(t), top_lx))


@pytest.mark.parametrize("ceiling", [0.75, 0.97, 0.98, 0.99])
@pytest.mark.parametrize("overload", [1.5, 2.0, 4.0, 8.0])
@pytest.mark.parametrize("fall_s", [0.2e-3, 0.7e-3, 1.2e-3])
def test_a_flat_top_below_full_scale_is_clipping(ceiling: float, overload: float, fall_s: float) -> None:
    """At 1.5 to 8 times overload the top is flat where a flash tube's is not: clipped, and no bounds that could pass for good."""
    found = stopped(overload, ceiling, fall_s)

    assert found.clipped
    assert found.exposure_bounds_lxs is None


@pytest.mark.parametrize("peak", [0.3, 0.6, 0.9, 0.96])
@pytest.mark.parametrize("fall_s", [0.2e-3, 0.7e-3, 1.2e-3])
def test_a_whole_flash_is_not_taken_for_clipped(peak: float, fall_s: float) -> None:
    """A flash that just fits below the ceiling is a reading, and the right one."""
    found = stopped(peak, 0.99, fall_s)

    assert not found.clipped
    unit = Pulse(1.0, fall_s=fall_s)
    assert found.exposure_lxs == pytest.approx(peak * 0.97 * FULL_LX / unit.peak_lx, rel=0.02)


@pytest.mark.parametrize("peak", [0.03, 0.05, 0.08, 0.1, 0.15, 0.25])
def test_a_small_flash_is_not_taken_for_clipped_where_its_steps_are_coarse(peak: float) -> None:
    """A few codes of eight bits make steps that look flat: an amplifier does not stop in the lower part of its range."""
    falls_s = [1e-4 * k for k in range(2, 14)]
    heights = [peak * (1 + 0.01 * k) for k in range(8)]
    told = [stopped(height, 0.99, fall_s).clipped for fall_s in falls_s for height in heights]

    assert told == [False] * len(told)


def short_pops(
    samples: int, rise: float, top: float, ceiling: float = math.inf, noise: float = 0.0
) -> list[tuple[Measurement, float]]:
    """Return a dozen pops of about so many samples inside t0.1, anywhere between the samples, and what each is off by.

    ``rise`` over fall; ``top`` and ``ceiling`` (where the amplifier stops) as parts of full scale above the dark.
    """
    chance, found = random.Random(7), []
    for k in range(12):
        unit = Pulse(1.0, rise_s=rise * (fall_s := samples * STEP_S / 2.6 * (1 + 0.01 * k)), fall_s=fall_s)
        pulse, shift_s = unit._replace(exposure_lxs=top * FULL_LX / unit.peak_lx), STEP_S * k / 12
        room = [chance.gauss(0.0, noise * FULL_LX) for _ in range(1024)]

        def light(t: float, pulse: Pulse = pulse, shift_s: float = shift_s, room: list[float] = room) -> float:
            return min(pulse.illuminance_lx(t + shift_s), ceiling * FULL_LX) + room[round(t / STEP_S) + 128]

        one = measured(light)
        found.append((one, abs((one.exposure_lxs or 0.0) / pulse.exposure_lxs - 1.0)))
    return found


@pytest.mark.parametrize("rise", [0.02, 0.06, 0.2])
@pytest.mark.parametrize("overload", [1.2, 1.5, 2.0])
def test_few_samples_of_a_flat_top_are_asked_again_or_carry_what_may_be_missing(rise: float, overload: float) -> None:
    """Stopped at 0.75 of full scale, 8 to 24 samples inside t0.1: clipped, or the interval holds the truth, in 93 %."""
    pops = [one for samples in (8, 10, 12, 24) for one in short_pops(samples, rise, 0.73 * overload, 0.73, 0.004)]

    held = [found.clipped or off <= 2.0 * found.u_rel for found, off in pops]
    assert sum(held) >= 0.93 * len(held)


@pytest.mark.parametrize("samples", [8, 10, 12, 24])
def test_few_samples_of_a_whole_flash_are_nearly_as_sure(samples: int) -> None:
    """A sound pop of few samples: read to two per cent (k=2); only where its two highest samples are alike may more be missing."""
    pops = short_pops(samples, 0.2, 0.7)

    assert not any(found.clipped for found, _ in pops)
    assert sorted(found.u_rel for found, _ in pops)[6] < 0.01
    assert sum(found.u_rel > 0.05 or "amplifier" in found.note for found, _ in pops) <= 1


def test_a_square_pulse_is_believed_only_where_the_amplifier_cannot_have_made_it() -> None:
    """A lamp pulsed square is flat by itself: a reading in the middle of the range, asked for again near its end."""
    square = [measured(lambda t, part=part: part * FULL_LX if t < 2e-3 else 0.0) for part in (0.6, 0.93)]

    assert [one.clipped for one in square] == [False, True]


def test_a_session_asks_again_for_a_pop_whose_top_is_flat(session: Session) -> None:
    """Not logged, not good: too bright, and the same light is waited for, even where little can be missing."""
    session.begin([session.request(session.light("KEY"))])
    for overload in (1.4, 4.0):
        outcome = session.take(stopped(overload, 0.97))

        assert (outcome.kind, outcome.code) == (OutcomeKind.AGAIN, OutcomeCode.TOO_BRIGHT)
        assert outcome.light is not None
        assert outcome.light.name == "KEY"


def test_a_measured_ceiling_is_the_end_of_the_range() -> None:
    """With the ceiling in the calibration a pop that just touches it clips, however pointed it looks, and so does steady light."""
    known = CALIBRATION._replace(details={"ceiling_raw": {"0": 0.8}})
    unit = Pulse(1.0)
    pulse = unit._replace(exposure_lxs=0.79 * FULL_LX / unit.peak_lx)

    assert not measured(pulse.illuminance_lx).clipped
    found = measured(pulse.illuminance_lx, known)
    assert found.clipped
    assert found.exposure_bounds_lxs is None
    assert [level(Steady(0.0, raw), "s", known).clipped for raw in (0.79, 0.8)] == [False, True]
    assert not level(Steady(0.0, 0.8), "s", CALIBRATION).clipped


def test_a_walk_of_calibrate_measures_the_ceiling() -> None:
    """A pop that was too bright in the walk tells where the amplifier stops; one at the converter's own end tells nothing."""
    identity = ChipModel().identity._replace(sensor_id="s")
    for ceiling, known in ((0.97, {0: pytest.approx(0.97, abs=0.005)}), (1.2, {})):
        walk = Procedure(identity, CALIBRATION, [Task("pair-0", "pair", "fire", "flash", 1, range_index=0)])

        said = walk.take(stopped(3.0, ceiling))

        assert "too bright" in str(said)
        assert dict(evidence_of(walk, None).ceilings) == known
