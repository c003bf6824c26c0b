"""The one driver: range and sampling chosen before a pop, what is not seen, what is refused, what shows and fails."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from math import hypot
from typing import Any

import pytest

from meterlink.errors import MeterlinkError, SensorError, ShowingFailed, StorageError
from meterlink.metering import session as session_module
from meterlink.metering.driver import Metering
from meterlink.metering.outcome import Outcome, OutcomeKind
from meterlink.metering.session import Session
from meterlink.records import Identity, Kind, Measurement, Trouble
from meterlink.simulation.chip_model import ChipModel
from meterlink.simulation.sensor import SimulatedLink
from meterlink.simulation.studio import Pulse
from meterlink.testing import VirtualLoop
from meterlink.words.sentences import logged

BRIGHT, SENSITIVE = 0, 1


class Bench:
    """A session, its driver and a simulated sensor, on a clock that jumps."""

    def __init__(self, session: Session, **options: Any) -> None:
        self.session = session
        self.link = SimulatedLink(ChipModel(noise_codes=0.0), clock=asyncio.get_running_loop().time)
        self.told: list[Outcome] = []
        self.unseen: list[bool] = []
        options.setdefault("on_outcome", self.told.append)
        self.metering = Metering(session, "sim:?every=0", link=self.link, on_unseen=self.unseen.append, **options)

    async def begin(self, *names: str, **how: Any) -> None:
        """Wait for these lights."""
        self.session.begin([self.session.request(self.session.light(name), **how) for name in names])
        if self.metering.sensor.identity is None:
            await self.metering.open()
            await self.metering.ready()
        else:
            await self.metering.prepare()
        await asyncio.sleep(1.0)

    async def fire(self, exposure_lxs: float, fall_s: float = 0.4e-3) -> bool:
        """A flash; returns whether the sensor saw it."""
        await asyncio.sleep(2.0)
        seen = self.link.pop(Pulse(exposure_lxs, fall_s=fall_s))
        await asyncio.sleep(0.5)
        return seen


def run(session: Session, scenario: Callable[[Bench], Awaitable[Any]], **options: Any) -> Any:
    """Run a scenario on a bench."""

    async def work() -> Any:
        bench = Bench(session, **options)
        try:
            return await scenario(bench)
        finally:
            await bench.metering.close()

    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        return runner.run(work())


def test_the_range_of_a_light_that_is_known_stays(session: Session) -> None:
    """The key is known at f/11: half a minute later it is still waited for on the bright range, and its pop counts at once."""

    async def scenario(bench: Bench) -> None:
        await bench.begin("KEY")
        await bench.fire(500.0)
        await bench.begin("KEY")
        await asyncio.sleep(30.0)
        assert bench.link.chip.range_index == BRIGHT
        assert bench.unseen == [False]
        await bench.fire(500.0)
        assert [o.kind for o in bench.told] == [OutcomeKind.LOGGED] * 2

    run(session, scenario)


def test_a_known_weak_light_is_waited_for_on_the_sensitive_range_at_once(session: Session) -> None:
    """Its last pop gave 40 lx·s: no pop is lost to a range on which it is not seen."""

    async def scenario(bench: Bench) -> None:
        await bench.begin("KEY")
        await bench.metering.listen_closer()
        await bench.fire(40.0)
        await bench.metering.sensor.choose_range(900.0, 1e-3)
        await bench.begin("KEY")
        assert bench.link.chip.range_index == SENSITIVE
        await bench.fire(40.0)
        assert [o.kind for o in bench.told] == [OutcomeKind.LOGGED] * 2

    run(session, scenario)


def test_a_light_of_which_nothing_is_known_is_listened_for_more_closely_after_a_while(session: Session) -> None:
    """Too weak for the bright range the first pop is not seen; after eight seconds the next one is, and counts."""

    async def scenario(bench: Bench) -> None:
        await bench.begin("KEY")
        assert not await bench.fire(12.0)
        await asyncio.sleep(8.0)
        assert (bench.link.chip.range_index, bench.unseen) == (SENSITIVE, [True])
        assert await bench.fire(12.0)
        assert [o.kind for o in bench.told] == [OutcomeKind.LOGGED]
        await asyncio.sleep(30.0)
        assert bench.unseen == [True]

    run(session, scenario)


@pytest.mark.parametrize(
    ("camera", "exposure_lxs", "range_index"),
    [
        ({}, 220.0, BRIGHT),
        ({"details": {"aperture": "f/2.8"}}, 26.0, SENSITIVE),
        ({"iso": 800.0}, 26.0, SENSITIVE),
        ({"iso": 800.0, "filter_stops": 3.0}, 220.0, BRIGHT),
    ],
)
def test_a_first_light_is_listened_for_where_the_camera_wants_it(
    session: Session, camera: dict[str, Any], exposure_lxs: float, range_index: int
) -> None:
    """Nothing is known of any light: the aperture noted, else f/8, at the set's ISO and filter chooses the range; one pop does."""

    async def scenario(bench: Bench) -> None:
        session.library.revise_setup(session.setup._replace(**camera))
        await bench.begin("KEY")
        assert bench.link.chip.range_index == range_index
        await bench.fire(exposure_lxs)
        assert [o.kind for o in bench.told] == [OutcomeKind.LOGGED]

    run(session, scenario)


def test_what_the_sensor_has_learnt_since_is_worth_more_than_the_camera(session: Session) -> None:
    """A pop that clipped, or none that was seen, has chosen another range: a distance said meanwhile does not put it back."""

    async def clipped(bench: Bench) -> None:
        session.library.revise_setup(session.setup._replace(details={"aperture": "f/2.8"}))
        await bench.begin("KEY")
        await bench.fire(900.0)
        assert [o.kind for o in bench.told] == [OutcomeKind.AGAIN]
        session.held(0.2)
        await bench.metering.prepare()
        assert bench.link.chip.range_index == BRIGHT

    async def unseen(bench: Bench) -> None:
        session.library.revise_setup(session.setup._replace(details={}))
        await bench.begin("FILL")
        await asyncio.sleep(9.5)
        assert bench.unseen == [True]
        session.held(0.2)
        await bench.metering.prepare()
        assert bench.link.chip.range_index == SENSITIVE

    run(session, clipped)
    run(session, unseen)


def test_on_the_most_sensitive_range_there_is_no_closer_listening(session: Session) -> None:
    """Nothing was seen there either: it is not promised that weaker pops are listened for from now on."""

    async def scenario(bench: Bench) -> None:
        await bench.begin("KEY")
        await bench.metering.sensor.listen_closest()
        await asyncio.sleep(30.0)
        assert (bench.link.chip.range_index, bench.unseen) == (SENSITIVE, [])

    run(session, scenario)


def test_the_weaker_of_several_lights_is_listened_for_after_a_while(session: Session) -> None:
    """The strong one is asked for first, and its range does not see the weak one: fired all the same it is not lost for good."""

    async def scenario(bench: Bench) -> None:
        await bench.begin("FILL")
        await bench.metering.listen_closer()
        await bench.fire(12.0)
        await bench.begin("KEY")
        await bench.metering.sensor.choose_range(900.0, 1e-3)
        await bench.fire(500.0)
        wanted = [bench.session.request(bench.session.light(name)) for name in ("KEY", "FILL")]
        bench.session.begin(wanted, any_order=True)
        assert [one.light_id for one in bench.session.may_come()] == [bench.session.light("KEY").id]
        await bench.metering.prepare()
        assert not await bench.fire(12.0)
        await asyncio.sleep(8.0)
        assert (bench.link.chip.range_index, bench.unseen[-1:]) == (SENSITIVE, [True])

    run(session, scenario)


def test_the_sum_is_waited_for_on_the_range_of_the_sum(session: Session) -> None:
    """Two lights of 110 lx·s are each known on the sensitive range and would clip it together."""

    async def scenario(bench: Bench) -> None:
        await bench.begin("KEY", "FILL")
        await bench.metering.listen_closer()
        await bench.fire(110.0)
        await bench.fire(110.0)
        bench.session.begin([bench.session.request_together()])
        await bench.metering.prepare()
        await asyncio.sleep(1.0)
        assert bench.link.chip.range_index == BRIGHT
        await bench.fire(220.0)
        assert [o.kind for o in bench.told if o.kind != OutcomeKind.AGAIN] == [OutcomeKind.LOGGED] * 3
        assert bench.told[-1].kind == OutcomeKind.LOGGED

    run(session, scenario)


def test_a_flash_too_long_for_the_record_is_sampled_more_slowly_the_next_time(session: Session) -> None:
    """Cut short once, the same flash fits the next record; and a new session knows the head's duration from its last pop."""

    async def scenario(bench: Bench) -> int:
        await bench.begin("KEY")
        while not any(o.kind == OutcomeKind.LOGGED for o in bench.told):
            assert len(bench.told) < 4
            await bench.fire(3_000.0, fall_s=6e-3)
        assert bench.told[0].code == Trouble.TOO_LONG
        return bench.link.chip.factor

    async def again(bench: Bench) -> None:
        await bench.begin("KEY")
        assert bench.link.chip.factor >= needed
        await bench.fire(3_000.0, fall_s=6e-3)
        assert [o.kind for o in bench.told] == [OutcomeKind.LOGGED]

    needed = run(session, scenario)
    assert needed > 1
    run(Session(session.library, now=session.now), again)


def test_a_sensor_of_steady_light_is_refused_for_a_flash(session: Session) -> None:
    """Before anybody fires: it cannot see a pop; steady light it takes."""

    async def scenario(bench: Bench) -> str:
        bench.link.chip.identity = bench.link.chip.identity._replace(flash=False)
        with pytest.raises(SensorError) as refused:
            await bench.begin("KEY")
        await bench.begin("KEY", kind=Kind.STEADY)
        return str(refused.value)

    refused = run(session, scenario)
    assert "sees steady light only" in refused
    assert refused.endswith(": meterlink meter KEY --steady")


def test_what_cannot_be_shown_ends_the_walk_with_the_reading_stored(session: Session) -> None:
    """A callback that raises (a closed pipe) does not hang the walk: it ends with one line, and the reading is on disk."""

    def broken(_outcome: Outcome) -> None:
        raise BrokenPipeError(32, "Broken pipe")

    async def scenario(bench: Bench) -> None:
        await bench.begin("KEY", "FILL")
        walked = asyncio.ensure_future(bench.metering.walked())
        await bench.fire(500.0)
        with pytest.raises(ShowingFailed, match="Broken pipe"):
            await asyncio.wait_for(walked, 5.0)

    run(session, scenario, on_outcome=broken)
    assert len(session.library.readings(session.setup.id)) == 1


@pytest.mark.parametrize("heard", [True, False], ids=["told", "ends"])
def test_an_error_while_storing_is_told_or_ends_the_walk(session: Session, heard: bool) -> None:
    """With somebody to tell the light still waits and the next pop counts; without the walk ends with its reason."""
    errors: list[MeterlinkError] = []
    fails = [True]

    def take(measurement: Any) -> Outcome:
        if fails.pop() if fails else False:
            raise StorageError("the disk is full: make room")
        return session.take(measurement)

    async def scenario(bench: Bench) -> None:
        await bench.begin("KEY")
        walked = asyncio.ensure_future(bench.metering.walked())
        await bench.fire(500.0)
        if heard:
            await bench.fire(500.0)
            await asyncio.wait_for(walked, 5.0)
            assert [str(e) for e in errors] == ["the disk is full: make room"]
        else:
            with pytest.raises(StorageError, match="make room"):
                await asyncio.wait_for(walked, 5.0)

    run(session, scenario, take=take, on_error=errors.append if heard else None)
    assert len(session.library.readings(session.setup.id)) == int(heard)


def test_a_walk_of_flash_and_steady_light_is_driven_to_its_end(session: Session) -> None:
    """After the pop the steady light is asked for and taken, then the next pop is waited for."""
    asked: list[str] = []

    async def lit() -> None:
        asked.append("lit")

    async def scenario(bench: Bench) -> None:
        bench.link.chip.ambient_lx = 1_500.0
        lights = [bench.session.light(name) for name in ("KEY", "FILL", "HAIR")]
        kinds = (Kind.FLASH, Kind.STEADY, Kind.FLASH)
        await bench.begin()
        bench.session.begin([bench.session.request(a, kind=k) for a, k in zip(lights, kinds, strict=True)])
        await bench.metering.prepare()
        walked = asyncio.ensure_future(bench.metering.walked(lit))
        await bench.fire(500.0)
        await asyncio.sleep(3.0)
        await bench.fire(500.0)
        await asyncio.wait_for(walked, 5.0)

    run(session, scenario)
    kinds = [r.kind for r in session.library.readings(session.setup.id)]
    assert kinds == ["flash", "steady", "flash"]
    assert asked == ["lit"]


def test_a_sensor_that_says_who_it_is_late_is_prepared_when_it_has(session: Session) -> None:
    """Nothing is chosen for a sensor that is not known yet, and nothing breaks."""

    async def scenario(bench: Bench) -> Identity | None:
        session.begin([session.request(session.light("KEY"))])
        await bench.metering.prepare()
        await bench.begin("KEY")
        await bench.fire(500.0)
        return bench.metering.sensor.identity

    assert run(session, scenario) is not None


def test_a_simulated_set_fires_its_known_lights_in_an_order_of_its_own(session: Session) -> None:
    """Metered once in the announced order, then in any: the simulated photographer fires as she likes, and no pop goes astray."""
    names = ("KEY", "FILL", "HAIR")

    async def scenario(bench: Bench) -> None:
        await bench.begin(*names)
        await bench.metering.walked()
        bench.session.begin([bench.session.request(bench.session.light(name)) for name in names], any_order=True)
        await bench.metering.prepare()
        await bench.metering.walked()

    told: list[Outcome] = []

    async def work() -> None:
        bench = Bench(session, on_outcome=told.append)
        bench.link = SimulatedLink(every_s=2.5, seed=9, clock=asyncio.get_running_loop().time)
        bench.metering = Metering(session, "sim:", link=bench.link, on_outcome=told.append)
        try:
            await scenario(bench)
        finally:
            await bench.metering.close()

    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        runner.run(work())
    logged = [o for o in told if o.kind == OutcomeKind.LOGGED and o.reading and o.light]
    first, second = logged[:3], logged[3:]
    assert [o.light.name for o in first if o.light] == list(names)
    assert sorted(o.light.name for o in second if o.light) == sorted(names)
    assert [o.light.name for o in second if o.light] != list(names)
    before, after = ({o.light.name: o.reading for o in some if o.light and o.reading} for some in (first, second))
    for name in names:
        then, now = before[name], after[name]
        apart = (now.exposure_lxs or 0.0) / (then.exposure_lxs or 1.0) - 1.0
        # The weaker ones are small on the range that the key needs.
        assert abs(apart) <= 3.0 * hypot(then.u_rel, now.u_rel) <= 0.12, name


def test_a_wrong_expectation_does_not_leave_the_sensor_deaf(session: Session) -> None:
    """The key was read at 500 lx·s and gives 12 now: after 40 s without a pop the next weak one counts."""

    async def scenario(bench: Bench) -> None:
        await bench.begin("KEY")
        await bench.fire(500.0)
        await bench.begin("KEY")
        assert not await bench.fire(12.0)
        await asyncio.sleep(40.0)
        assert (bench.link.chip.range_index, bench.unseen) == (SENSITIVE, [False, True])
        assert await bench.fire(12.0)
        assert [o.kind for o in bench.told] == [OutcomeKind.LOGGED] * 2

    run(session, scenario)


def test_a_pop_that_was_given_to_a_light_says_nothing_of_its_next_one(session: Session, pop: Callable[..., Measurement]) -> None:
    """KEY's pop was FILL's, as somebody said with its distance: no range is chosen by it; FILL's own next pop counts again."""
    key, fill = (session.request(session.light(name)) for name in ("KEY", "FILL"))
    session.begin([key])
    session.take(pop(500.0))
    session.reassign("FILL")
    session.held(0.05)

    session.begin([fill])
    assert session.expected() is None
    session.take(pop(60.0))
    session.begin([fill])
    assert session.expected().exposure_lxs == pytest.approx(60.0)
    session.begin([key])
    assert session.expected().exposure_lxs == pytest.approx(60.0 * (1.5 / 1.2) ** 2, rel=0.2)


def test_what_judges_a_pop_is_rehearsed_before_its_block_is_here(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    """Announced 40 ms ahead: a light is judged and said to nobody meanwhile; nothing is written, no error of it is told."""
    order: list[str] = []
    written = session.library.db

    def say(*words: Any) -> Any:
        order.append("said")
        return logged(*words)

    def rehearsed() -> None:
        before = written.generation, written.connection.total_changes
        rehearse()
        assert (written.generation, written.connection.total_changes) == before
        order.append("rehearsed")
        monkeypatch.setattr(type(session.known), "judged", property(lambda known: failed()))
        rehearse()
        monkeypatch.setattr(type(session.known), "judged", judged)

    def failed() -> None:
        raise StorageError("the disk is gone")

    async def scenario(bench: Bench) -> None:
        await bench.begin("KEY")
        await bench.fire(500.0)
        monkeypatch.setattr(session_module, "logged", say)
        monkeypatch.setattr(session, "rehearse", rehearsed)
        await bench.begin("KEY")
        await asyncio.sleep(2.0)
        shown = bench.link.chip.pop(Pulse(500.0), asyncio.get_running_loop().time())
        assert shown is not None
        for part in (shown.notice, shown.block):
            bench.link.say(part)
            await asyncio.sleep(0.02)
        assert [o.kind for o in bench.told] == [OutcomeKind.LOGGED] * 2

    rehearse, judged = session.rehearse, type(session.known).judged
    run(session, scenario)
    assert order == ["said", "rehearsed", "said"]
