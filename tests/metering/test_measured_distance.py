"""A distance that the sensor measures: from its bytes to the reading, against what was typed, and live before the pop."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import pytest

from meterlink.cli.driving import Screen
from meterlink.metering.nearness import Nearness, Reached
from meterlink.metering.session import Session
from meterlink.metering.waiting import waiting
from meterlink.records import HeldOff, Measurement, RangerState
from meterlink.sensor.measuring.ranger import RangerScale
from meterlink.sensor.measuring.sensor import Sensor
from meterlink.simulation.chip_model import ChipModel
from meterlink.simulation.sensor import SimulatedLink
from meterlink.simulation.studio import Pulse
from meterlink.testing import VirtualLoop

MakePop = Callable[..., Measurement]


def popped(distances: list[float | None], after_s: float = 0.0) -> Measurement:
    """A real chip's pop after these distances, 15 a second, through link, decoder and calibration."""
    found: list[Measurement] = []

    async def work() -> None:
        loop = asyncio.get_running_loop()
        link = SimulatedLink(ChipModel(seed=3), clock=loop.time)
        sensor = Sensor(link, None, found.append, clock=loop.time, sleep=asyncio.sleep)
        sensor.intake.ranger.scale = RangerScale(0.0, 1.0, 0.002, 0.005)
        await sensor.start()
        await sensor.identified()
        await asyncio.sleep(1.0)
        encoder = link.chip.encoder
        for one in distances:
            state = RangerState.GOOD if one is not None else RangerState.NOTHING
            link.say(encoder.distance(HeldOff(0.0, one, None if one is None else 0.003, state, 1e6)))
            await asyncio.sleep(1 / 15)
        await asyncio.sleep(after_s)
        link.pop(Pulse(200.0))
        await asyncio.sleep(1.0)
        await sensor.stop()

    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        runner.run(work())
    return found[0]


def test_a_pop_carries_the_distance_of_the_moment_before_it() -> None:
    """What was measured a second earlier does not count, what was measured just before does, with its uncertainty."""
    m = popped([0.45] * 4 + [0.4, 0.35, 0.3, 0.25, 0.2] + [0.12] * 15)

    assert m.held_off_m == pytest.approx(0.12)
    assert m.u_held_off_m == pytest.approx(0.005, abs=0.002)
    assert m.held_off_unknown == ""


def test_a_pop_long_after_the_last_distance_does_not_know_it() -> None:
    """Half a second of silence: the dome may be anywhere by now."""
    m = popped([0.12] * 8, after_s=0.5)

    assert (m.held_off_m, m.held_off_unknown) == (None, "none_came")


def test_a_reading_takes_the_measured_distance_with_its_uncertainty(session: Session, pop: MakePop) -> None:
    """Nothing was typed: 10 cm ± 1 cm measured goes into the correction, toward what the dome looks at."""
    session.begin([session.request(session.light("KEY"))])

    outcome = session.take(pop(200.0, held_off_m=0.10, u_held_off_m=0.005))

    assert outcome.reading is not None
    assert (outcome.reading.held_off_m, outcome.reading.u_held_off_m, outcome.reading.held_off_toward) == (0.10, 0.005, "light")
    assert outcome.state is not None
    assert outcome.state.judged is not None
    assert "not given" not in outcome.message
    assert outcome.warnings == ()


def test_a_pop_that_is_measured_too_far_off_is_waited_for_again(session: Session, pop: MakePop) -> None:
    """The dome comes nearer and the finder says so, so a pop is all it takes; typed, it would be read as far off again."""
    session.move(session.light("KEY"), distance_m=0.8, width_m=1.5)
    session.begin([session.request(session.light(name)) for name in ("KEY", "FILL")])

    far = session.take(pop(200.0, held_off_m=0.3, u_held_off_m=0.005))

    assert (far.state.judged.verdict, far.state.judged.why) == ("retake", "too_wide")
    assert far.waiting.light_id == session.light("KEY").id
    near = session.take(pop(150.0, held_off_m=0.02, u_held_off_m=0.005))
    assert near.light.name == "KEY"
    assert near.waiting.light_id == session.light("FILL").id


def test_typed_beats_measured_and_a_disagreement_is_said(session: Session, pop: MakePop) -> None:
    """25 cm typed, 8 cm measured: what she said counts, and she hears of it; 9 cm typed is no disagreement."""
    session.begin([session.request(session.light("KEY"), held_off_m=0.25), session.request(session.light("FILL"), held_off_m=0.09)])

    far, near = (session.take(pop(one, held_off_m=0.08, u_held_off_m=0.005)) for one in (200.0, 60.0))

    assert far.reading is not None
    assert (far.reading.held_off_m, far.reading.u_held_off_m) == (0.25, None)
    assert far.warnings[0].startswith("25 cm was said, the range finder measured 8 cm ± 1 cm")
    assert near.warnings == ()


def test_a_distance_typed_afterwards_replaces_the_measured_one(session: Session, pop: MakePop) -> None:
    """After the pop, too; undo then restores the measured one."""
    session.begin([session.request(session.light("KEY")), session.request(session.light("FILL"))])
    session.take(pop(200.0, held_off_m=0.08, u_held_off_m=0.005))

    session.held(0.3)

    (reading,) = session.view().readings
    assert (reading.held_off_m, reading.u_held_off_m) == (0.3, None)
    assert "8 cm" in session.disagreement
    session.undo()
    (reading,) = session.view().readings
    assert (reading.held_off_m, reading.u_held_off_m) == (0.08, 0.005)


def test_why_it_is_not_known_is_said(session: Session, pop: MakePop) -> None:
    """A hand came in between: the pop is logged without a distance, and that is said."""
    session.begin([session.request(session.light("KEY"))])

    outcome = session.take(pop(200.0, held_off_unknown="jumped"))

    assert outcome.reading is not None
    assert outcome.reading.held_off_m is None
    assert outcome.warnings == ("distance not known: something came between dome and face",)


def test_before_the_pop_the_reach_of_the_light_is_known(session: Session, pop: MakePop) -> None:
    """Good and still is ready, farther is corrected, farther still too far; the tick quickens on the way in."""
    nearness = Nearness(session)
    request = [session.request(session.light("KEY"))]

    def at(held_off_m: float | None, **more: object) -> tuple[Reached, str, float | None]:
        near = nearness.of(pop(1.0, held_off_m=held_off_m, **more), request)
        assert near is not None
        return near.reached, near.sentence, near.tick_s

    good = at(0.02, held_still=True)
    assert good == (Reached.GOOD, "2 cm: ready", None)
    assert at(0.02)[1] == "2 cm: good"
    corrected, far = at(0.12), at(0.5)
    assert corrected[0] == Reached.CORRECTED
    assert corrected[1].startswith("12 cm: corrected for KEY, good within ")
    assert far[0] == Reached.FAR
    assert far[1].startswith("too far for KEY: 50 cm, keep within ")
    assert far[2] is not None
    assert corrected[2] is not None
    assert corrected[2] < far[2]
    assert at(None, held_off_unknown="moves")[:2] == (Reached.UNKNOWN, "distance not known: the dome moves")
    assert nearness.of(pop(1.0), request) is None


@pytest.mark.parametrize("how", [{}, {"receptor": "flat"}, {"aim": "camera"}])
def test_what_is_said_beforehand_and_what_the_range_finder_says_is_one_reach(session: Session, pop: MakePop, how: dict) -> None:
    """However the dome is held for the request, told ``within 7 cm`` it is good within 7 cm."""
    request = session.request(session.light("KEY"), **how)
    near = Nearness(session).of(pop(1.0, held_off_m=0.9), [request])

    assert near is not None
    assert near.good_m is not None
    assert f"dome within {near.good_m * 100 // 1:.0f} cm of the face" in str(waiting(session, request))


def test_among_several_lights_the_shortest_reach_counts(session: Session, pop: MakePop) -> None:
    """In any order the next pop may be any light's: the one that is spoilt first is named."""
    near = Nearness(session).of(pop(1.0, held_off_m=0.6), [session.request(session.light(one)) for one in ("KEY", "HAIR", "FILL")])

    assert near is not None
    assert near.light == "HAIR"


def test_the_terminal_ticks_on_the_way_in(session: Session, pop: MakePop, capsys: pytest.CaptureFixture[str]) -> None:
    """Two seconds at half a metre, at 15 cm, and still within reach: more bells the nearer, one when it is ready, none piped."""
    screen = Screen(session)
    session.begin([session.request(session.light("KEY"))])
    screen.wait_for(session.walk.waiting)

    def bells(held_off_m: float, begun_s: float, *, still: bool = False) -> int:
        for i in range(40):
            screen.level(pop(1.0, illuminance_lx=50.0, held_off_m=held_off_m, held_still=still, at_s=begun_s + i / 20))
        return capsys.readouterr().out.count("\a")

    assert bells(0.5, 100.0) == 0
    screen.live.on = True
    far, nearer, ready = bells(0.5, 200.0), bells(0.15, 300.0), bells(0.02, 400.0, still=True)
    assert 0 < far < nearer
    assert ready == 1
