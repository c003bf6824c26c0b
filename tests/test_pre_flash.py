"""A pre-flash or a double pop is not the light: in two records, in one, and where the sensor could not keep the second."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from math import log2

import pytest

from meterlink.judging.verdict import Verdict
from meterlink.metering.outcome import Code, OutcomeCode, OutcomeKind
from meterlink.metering.session import Session
from meterlink.records import Measurement, Purpose, Trouble
from meterlink.sensor.measuring.sensor import Sensor
from meterlink.simulation.chip_model import ChipModel
from meterlink.simulation.sensor import SimulatedLink
from meterlink.simulation.studio import Pulse
from meterlink.testing import FakeClock, settle

MakePop = Callable[..., Measurement]


def begin(session: Session, *names: str, **how: object) -> None:
    """Begin a walk through lights by name."""
    session.begin([session.request(session.light(name), **how) for name in names])


def exposures(session: Session) -> dict[str, float | None]:
    """What stands of each light, in lx·s."""
    names = {one.id: one.name for one in session.lights()}
    return {names[r.light_id]: r.exposure_lxs for r in session.known.records.effective if r.light_id}


@pytest.mark.parametrize("gap_s", [0.06, 0.09, 0.12])
@pytest.mark.parametrize("stops", [0.6, 2.1, 4.0])
def test_the_stronger_flash_right_after_is_the_light(session: Session, pop: MakePop, gap_s: float, stops: float) -> None:
    """A weak flash 60 to 120 ms ahead is logged, and taken over by the main one, in words; the next light is still waited for."""
    begin(session, "KEY", "FILL")
    session.take(pop(200.0 / 2**stops, at_s=10.0))

    outcome = session.take(pop(200.0, at_s=10.0 + gap_s))

    assert (outcome.kind, outcome.code) == (OutcomeKind.LOGGED, OutcomeCode.LOGGED)
    assert outcome.light is not None
    assert outcome.light.name == "KEY"
    assert outcome.numbers["preflash_s"] == pytest.approx(gap_s)
    assert outcome.numbers["preflash_stops"] == pytest.approx(stops)
    assert "pre-flash" in outcome.message
    assert outcome.waiting is not None
    assert outcome.waiting.light_id == session.light("FILL").id
    assert exposures(session) == {"KEY": 200.0}
    assert session.take(pop(50.0, at_s=12.0)).code == OutcomeCode.LOGGED
    assert exposures(session) == {"KEY": 200.0, "FILL": 50.0}


@pytest.mark.parametrize("stops", [-0.12, 0.12])
@pytest.mark.parametrize("gap_s", [0.1, 0.4])
def test_a_flash_that_says_the_same_is_a_stray(session: Session, pop: MakePop, gap_s: float, stops: float) -> None:
    """A double pop within an eighth of a stop of the first changes nothing: the reading stands and the next light is waited for."""
    begin(session, "KEY", "FILL")
    session.take(pop(100.0, at_s=10.0))

    outcome = session.take(pop(100.0 * 2**stops, at_s=10.0 + gap_s))

    assert outcome.code == OutcomeCode.STRAY
    assert exposures(session) == {"KEY": 100.0}


def test_the_last_light_of_a_walk_is_taken_over_too(session: Session, pop: MakePop) -> None:
    """Nothing is waited for any more when the main flash comes, and still it is the light."""
    begin(session, "KEY")
    session.take(pop(20.0, at_s=10.0))
    assert session.walk.done

    outcome = session.take(pop(200.0, at_s=10.1))

    assert outcome.kind == OutcomeKind.LOGGED
    assert session.walk.done
    assert exposures(session) == {"KEY": 200.0}


def test_a_burst_against_red_eyes_ends_with_the_light(session: Session, pop: MakePop) -> None:
    """Five equal weak flashes 0.1 s apart are strays of the first; the strong one after them is the light."""
    begin(session, "KEY", "FILL")
    for i in range(5):
        session.take(pop(20.0, at_s=10.0 + 0.1 * i))

    outcome = session.take(pop(200.0, at_s=10.5))

    assert outcome.kind == OutcomeKind.LOGGED
    assert exposures(session) == {"KEY": 200.0}


def test_one_pop_of_several_is_taken_over_alone(session: Session, pop: MakePop) -> None:
    """In a reading of three pops only the pre-flash is replaced."""
    begin(session, "KEY", "FILL", pops=3)
    for exposure_lxs, at_s in ((200.0, 10.0), (20.0, 12.0), (202.0, 12.1), (198.0, 14.0)):
        outcome = session.take(pop(exposure_lxs, at_s=at_s))

    assert outcome.reading is not None
    assert [p.exposure_lxs for p in outcome.reading.pops] == [200.0, 202.0, 198.0]
    assert outcome.waiting is not None
    assert outcome.waiting.light_id == session.light("FILL").id


@pytest.mark.parametrize(
    ("exposure_lxs", "gap_s", "code"),
    [
        (200.0, 0.1, OutcomeCode.STRAY),  # the same figure either way
        (100.0, 0.1, OutcomeCode.STRAY),  # a glitch of the recharging head
        (260.0, 0.1, Trouble.WHICH_FLASH),  # 0.4 stop
        (150.0, 0.1, Trouble.WHICH_FLASH),
        (150.0, 0.5, OutcomeCode.STRAY),
        (400.0, 0.5, Trouble.WHICH_FLASH),  # as late as a hand can press: another light?
    ],
)
def test_what_is_not_clear_is_asked_again(
    session: Session, pop: MakePop, exposure_lxs: float, gap_s: float, code: Code
) -> None:
    """Neither clearly a pre-flash nor clearly a stray: the reading is taken back and the light waited for again."""
    begin(session, "KEY", "FILL")
    session.take(pop(200.0, at_s=10.0))

    outcome = session.take(pop(exposure_lxs, at_s=10.0 + gap_s))

    assert outcome.code == code
    waited = "FILL" if code == OutcomeCode.STRAY else "KEY"
    assert session.walk.waiting is not None
    assert session.walk.waiting.light_id == session.light(waited).id
    assert exposures(session) == ({"KEY": 200.0} if code == OutcomeCode.STRAY else {})
    if code == Trouble.WHICH_FLASH:
        assert outcome.kind == OutcomeKind.AGAIN
        assert outcome.numbers["apart_stops"] == pytest.approx(log2(exposure_lxs / 200.0))


@pytest.mark.parametrize(
    ("first_lxs", "then"), [(200.0, {"exposure_lxs": 400.0}), (20.0, {"exposure_lxs": 100.0, "clipped": True})]
)
def test_the_second_time_in_a_row_it_says_what_else_to_do(
    session: Session, pop: MakePop, first_lxs: float, then: dict[str, float]
) -> None:
    """The first flash of each press is logged and taken back, which ends no row of refusals; a reading that stands does."""
    begin(session, "KEY", "KEY")
    gap_s, times = 0.24 if "clipped" in then else 0.5, []
    for at_s in (10.0, 20.0, 30.0):
        session.take(pop(first_lxs, at_s=at_s))
        outcome = session.take(pop(**then, at_s=at_s + gap_s))
        times.append(outcome.numbers["times"])

    assert times == [1, 2, 3]
    assert ("switch pre-flash" if "clipped" not in then else "lower the power") in outcome.message
    assert exposures(session) == {}
    session.take(pop(200.0, at_s=40.0))
    session.take(pop(first_lxs, at_s=50.0))
    assert session.take(pop(**then, at_s=50.0 + gap_s)).numbers["times"] == 1


def test_a_main_flash_that_clips_takes_its_pre_flash_back(session: Session, pop: MakePop) -> None:
    """A pre-flash that fits and a light that does not: too bright, not "good"; one too dim behind a light changes nothing."""
    begin(session, "KEY", "FILL")
    session.take(pop(20.0, at_s=10.0))

    outcome = session.take(pop(100.0, at_s=10.1, clipped=True))

    assert (outcome.kind, outcome.code) == (OutcomeKind.AGAIN, OutcomeCode.TOO_BRIGHT)
    assert outcome.light is not None
    assert outcome.light.name == "KEY"
    assert exposures(session) == {}
    session.take(pop(200.0, at_s=12.0))
    assert session.take(pop(0.5, at_s=12.1, too_dim=True)).code == OutcomeCode.STRAY
    assert exposures(session) == {"KEY": 200.0}


def test_two_heads_in_one_record_are_no_light_alone_and_welcome_when_all_are_wanted(session: Session, pop: MakePop) -> None:
    """Asked again for one light; for all lights together their sum is what was asked for."""
    begin(session, "KEY")
    both = pop(300.0, incomplete=True, trouble=Trouble.TWO_FLASHES)
    assert session.take(both).code == Trouble.TWO_FLASHES
    assert exposures(session) == {}

    session.begin([session.request_together()])
    outcome = session.take(pop(300.0, incomplete=True, trouble=Trouble.TWO_FLASHES))

    assert outcome.kind == OutcomeKind.LOGGED
    assert outcome.reading is not None
    assert (outcome.reading.purpose, outcome.reading.exposure_lxs) == (Purpose.TOGETHER, 300.0)


def test_a_flash_that_the_sensor_could_not_keep_is_asked_about() -> None:
    """While a block is sent a second flash is only counted; the sensor is asked, and then the first is not left to stand."""

    async def run() -> list[Measurement]:
        found: list[Measurement] = []
        clock = FakeClock()
        link = SimulatedLink(ChipModel(), clock=clock, sleep=clock.sleep)
        sensor = Sensor(link, None, found.append, None, clock, sleep=clock.sleep)
        await sensor.start()
        await settle()
        link.pop(Pulse(60.0))
        link.chip.lose_pop()
        await clock.advance(0.3)
        await sensor.stop()
        return found

    first, second = asyncio.run(run())
    assert first.exposure_lxs == pytest.approx(60.0, rel=0.03)
    assert (second.incomplete, second.trouble) == (True, Trouble.WHICH_FLASH)
    assert 0.0 < second.at_s - first.at_s < 0.7


def test_a_pre_flash_is_no_witness_against_its_light(session: Session, pop: MakePop) -> None:
    """The light that took its pre-flash's place is judged as if that had never been."""
    begin(session, "KEY", "FILL")
    session.take(pop(20.0, at_s=10.0))
    session.take(pop(200.0, at_s=10.1))

    state = session.view().state(session.light("KEY").id)
    assert state is not None
    assert state.judged is not None
    assert state.judged.verdict == Verdict.GOOD


def test_a_reading_that_goes_on_without_its_pre_flash_is_no_earlier_one(session: Session, pop: MakePop) -> None:
    """The record that held the pre-flash as its last pop is not kept as a reading of before the retake."""
    begin(session, "KEY", pops=3)
    for exposure_lxs, at_s in ((200.0, 10.0), (20.0, 12.0), (202.0, 12.1)):
        session.take(pop(exposure_lxs, at_s=at_s))

    assert session.known.records.earlier == []
