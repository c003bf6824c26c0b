"""Nobody is told to fire before the sensor has acknowledged range and record: a pop in between could be lost."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

from meterlink.metering.driver import Metering
from meterlink.metering.outcome import Outcome, OutcomeKind
from meterlink.metering.session import Session
from meterlink.records import Kind
from meterlink.sensor.dialects import messages as m
from meterlink.sensor.dialects.base import DecoderStats
from meterlink.sensor.dialects.frames import FrameReader
from meterlink.sensor.dialects.sensor_side import parse_command
from meterlink.simulation.chip_model import ChipModel
from meterlink.simulation.sensor import SimulatedLink
from meterlink.simulation.studio import Pulse
from meterlink.testing import VirtualLoop

LATE_S = 0.15
"""What is written reaches the sensor so much later: a slow line, or a sensor that is busy sending."""


class SlowLine(SimulatedLink):
    """A line on which commands are under way for a while; it may drop some, or the sensor be too busy for them."""

    def __init__(self) -> None:
        super().__init__(ChipModel(noise_codes=0.0), clock=asyncio.get_running_loop().time)
        self.on_the_way = 0
        self.drops: list[int] = []
        """Commands that do not arrive, once each."""
        self.busy: list[int] = []
        """Commands for which the sensor is too busy, once each."""
        self.arrived: list[int] = []

    async def write(self, data: bytes) -> None:
        """Send a command; it arrives later."""
        self.on_the_way += 1
        asyncio.get_running_loop().call_later(LATE_S, self._arrive, data)

    def _arrive(self, data: bytes) -> None:
        self.on_the_way -= 1
        command = parse_command(FrameReader(DecoderStats()).feed(data)[0])
        if command.kind in self.drops:
            self.drops.remove(command.kind)
            return
        self.arrived.append(command.kind)
        if command.kind in self.busy:
            self.busy.remove(command.kind)
            self.say(self.chip.encoder.reply(command, m.BUSY))
            return
        self.say(self.chip.hear(data, self._now_s()))


class Told(list[tuple[str, int, int]]):
    """What was told: what it was, the range at that moment, and how many commands were under way."""


def run(session: Session, scenario: Callable[[SlowLine, Metering, Told], Awaitable[Any]]) -> Told:
    """Run a scenario at a slow line; return what was told."""
    told = Told()

    async def work() -> None:
        link = SlowLine()

        def tell(what: str) -> None:
            told.append((what, link.chip.range_index, link.on_the_way))

        def outcome(one: Outcome) -> None:
            tell(one.kind)

        metering = Metering(
            session, "sim:?every=0", link=link, on_outcome=outcome,
            on_waiting=lambda request: tell("fire" if request is not None else "over"), on_unseen=lambda _: tell("closer"),
        )  # fmt: skip
        try:
            await metering.open()
            await metering.ready()
            await asyncio.wait_for(scenario(link, metering, told), 60.0)
        finally:
            await metering.close()

    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        runner.run(work())
    return told


def wait_for(session: Session, *names: str) -> None:
    """Begin a walk."""
    session.begin([session.request(session.light(name)) for name in names])


async def until(told: Told, what: str, count: int) -> None:
    """Until something was told so many times."""
    while sum(one == what for one, _, _ in told) < count:
        await asyncio.sleep(0.01)


def test_a_light_is_waited_for_aloud_when_the_sensor_stands_as_it_must(session: Session) -> None:
    """Two lights on ranges apart, then asked for once more: each line comes on the right range and with no command under way."""
    wait_for(session, "KEY", "FILL")

    async def scenario(link: SlowLine, _metering: Metering, told: Told) -> None:
        await until(told, "fire", 1)
        link.pop(Pulse(500.0))
        await until(told, "fire", 2)
        await asyncio.sleep(1.0)  # nobody fires sooner, and what comes sooner is taken for the same press
        assert link.pop(Pulse(60.0))
        await until(told, OutcomeKind.AGAIN, 1)
        assert link.chip.range_index == 1
        assert link.pop(Pulse(60.0))
        await until(told, "over", 1)

    told = run(session, scenario)

    assert [what for what, _, _ in told] == ["fire", "logged", "fire", "again", "logged", "over"]
    assert [under_way for what, _, under_way in told if what in ("fire", "again")] == [0, 0, 0]


def test_weaker_pops_are_promised_when_they_are_listened_for(session: Session) -> None:
    """After eight seconds the line says so when the sensor is on its sensitive range, not before."""
    wait_for(session, "KEY")

    async def scenario(_link: SlowLine, _metering: Metering, told: Told) -> None:
        await until(told, "closer", 1)

    assert run(session, scenario)[-1] == ("closer", 1, 0)


def test_a_command_that_the_line_swallowed_is_said_again(session: Session) -> None:
    """SET_RANGE does not arrive: the light is waited for aloud when the second one was acknowledged, and on the right range."""
    wait_for(session, "KEY")

    async def scenario(link: SlowLine, metering: Metering, told: Told) -> None:
        await until(told, "fire", 1)
        link.drops = [m.SET_RANGE]
        await metering.listen_closer()
        assert link.chip.range_index == 1
        assert not link.drops

    run(session, scenario)


def test_an_interval_that_came_during_a_capture_is_said_again(session: Session) -> None:
    """The sensor answers that it is busy: it samples more slowly after the second time, and only then is told to."""
    wait_for(session, "KEY")

    async def scenario(link: SlowLine, metering: Metering, told: Told) -> None:
        await until(told, "fire", 1)
        link.busy, link.arrived = [m.SET_INTERVAL], []
        await metering.sensor.sample_slower()
        await metering.sensor.settled()
        assert link.arrived.count(m.SET_INTERVAL) == 2
        assert link.chip.factor == 2

    run(session, scenario)


def test_a_sensor_that_never_answers_is_metered_with_all_the_same(session: Session) -> None:
    """Nothing is acknowledged: the light is waited for after a bounded time, and its pop counts."""
    wait_for(session, "KEY")

    async def scenario(link: SlowLine, metering: Metering, told: Told) -> None:
        await until(told, "fire", 1)
        link.chip.hear = lambda _data, _now_s: b""  # type: ignore[method-assign]
        begun_s = asyncio.get_running_loop().time()
        wait_for(session, "FILL")
        await metering.listen_closer()
        await metering.prepare()
        assert asyncio.get_running_loop().time() - begun_s < 5.0
        await until(told, "fire", 2)
        link.pop(Pulse(500.0))
        await until(told, "over", 1)

    assert OutcomeKind.LOGGED in [what for what, _, _ in run(session, scenario)]
    assert [r.kind for r in session.library.readings(session.setup.id)] == [Kind.FLASH]


def test_a_walk_that_changed_meanwhile_is_told_once_and_as_it_is(session: Session) -> None:
    """Skipped while its range is being set: the light that is waited for now is told, the skipped one is not."""
    wait_for(session, "KEY", "FILL")
    names: list[str] = []

    async def scenario(_link: SlowLine, metering: Metering, told: Told) -> None:
        await until(told, "fire", 1)
        metering.on_waiting = lambda request: names.append(
            next((one.name for one in session.lights() if request and one.id == request.light_id), "")
        )
        first = asyncio.ensure_future(metering.listen_closer())
        wait_for(session, "FILL", "KEY")
        metering.prepare_soon()
        await asyncio.sleep(0.01)
        session.skip()
        metering.prepare_soon()
        await first
        await asyncio.sleep(2.0)

    run(session, scenario)
    assert names == ["KEY"]


def test_a_light_that_is_left_out_right_after_a_pop_is_not_told_after_the_one_that_follows(session: Session) -> None:
    """Skipped or taken back before the sensor was ready for the next light: what is told last is what is really waited for."""
    wait_for(session, "KEY", "FILL", "HAIR")
    names = {one.id: one.name for one in session.lights()}
    heard: list[str] = []

    async def scenario(link: SlowLine, metering: Metering, told: Told) -> None:
        await until(told, "fire", 1)
        metering.on_waiting = lambda request: heard.append(names[request.light_id] if request is not None else "")
        for left in (session.skip, session.undo):
            link.pop(Pulse(500.0))
            await until(told, OutcomeKind.LOGGED, 1)
            await asyncio.sleep(0.01)
            left()
            metering.prepare_soon()
            await asyncio.sleep(2.0)
            assert heard[-1] == names[session.walk.waiting.light_id]
            told.clear()

    run(session, scenario)

    assert heard == ["HAIR", "HAIR"]
