"""A link that keeps itself alive, on a clock that never sleeps, and over real ptys."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest
from pty_sensor import PtySensor

from meterlink.errors import LinkBusy, LinkError, LinkLost, LinkNotFound, RecordingEnded, UsageError
from meterlink.records import Measurement
from meterlink.sensor.link.base import CONNECTED, CONNECTING, STOPPED, WAITING, LinkState
from meterlink.sensor.link.reconnect import LONGEST_WAIT_S, ReconnectingLink
from meterlink.sensor.link.registry import link_for
from meterlink.sensor.measuring.sensor import Sensor
from meterlink.sensor.measuring.tended import LOST, READY, SensorState
from meterlink.simulation.sensor import SimulatedLink
from meterlink.simulation.studio import Pulse
from meterlink.testing import FakeClock, ScriptedLink, settle


class Bench:
    """One scripted link that is handed out again and again, and the states that were told."""

    def __init__(self, *, patient: bool = False) -> None:
        self.clock = FakeClock()
        self.inner = ScriptedLink(clock=self.clock)
        self.made: list[str] = []
        self.states: list[LinkState] = []
        self.got: list[bytes] = []
        self.lost: list[LinkError] = []
        self.elsewhere: str | None = None
        self.link = ReconnectingLink(
            "one:", self._make, find_again=self._find, patient=patient,
            clock=self.clock, sleep=self.clock.sleep,
        )  # fmt: skip
        self.link.on_state = self.states.append

    def _make(self, url: str) -> ScriptedLink:
        self.made.append(url)
        return self.inner

    async def _find(self) -> str | None:
        return self.elsewhere

    async def open(self) -> None:
        """Open."""
        await self.link.open(lambda data, *_: self.got.append(data), self.lost.append)

    @property
    def names(self) -> list[str]:
        """Names of the states told so far."""
        return [s.name for s in self.states]


def test_a_lost_link_comes_back_by_itself_and_says_so_once() -> None:
    """Loss and return are each told once in words; the bytes flow again to the same listener."""

    async def work() -> None:
        bench = Bench()
        await bench.open()
        bench.inner.say(b"1")
        bench.inner.lose("unplugged: plug it in again")
        await settle()
        assert bench.names == [CONNECTING, CONNECTED, WAITING]
        assert "unplugged" in bench.states[-1].words
        with pytest.raises(LinkLost):
            await bench.link.write(b"x")
        await bench.clock.advance(0.3)
        bench.inner.say(b"2")
        assert bench.got == [b"1", b"2"]
        assert bench.names == [CONNECTING, CONNECTED, WAITING, CONNECTED]
        await bench.link.close()
        assert bench.names[-1] == STOPPED
        assert bench.lost == []

    asyncio.run(work())


def test_the_waits_grow_to_a_limit_and_a_long_outage_is_one_sentence() -> None:
    """Attempts come after 0.25, 0.5, 1, 2, 4, 5, 5 ... seconds; the same reason is not told again and again."""

    async def work() -> None:
        bench = Bench()
        await bench.open()
        refusal = LinkNotFound("not there: plug it in", "one:")
        attempts_at: list[float] = []
        start_s = bench.clock()
        bench.inner.refusal = refusal
        bench.inner.lose("not there: plug it in")
        for _ in range(300):
            before = len(bench.made)
            await bench.clock.advance(0.1)
            if len(bench.made) > before:
                attempts_at.append(bench.clock() - start_s)
                bench.inner.refusal = refusal
        waits = [b - a for a, b in zip([0.0, *attempts_at], attempts_at, strict=False)]
        assert waits[:6] == pytest.approx([0.25, 0.5, 1.0, 2.0, 4.0, 5.0], abs=0.11)
        assert max(waits) <= LONGEST_WAIT_S + 0.11
        assert bench.names.count(WAITING) == 1
        await bench.link.close()

    asyncio.run(work())


def test_a_flapping_link_does_not_hammer() -> None:
    """A link that breaks at once after each connection is waited for longer and longer; a stable one starts anew."""

    async def work() -> None:
        bench = Bench()
        await bench.open()
        for _ in range(60):
            if bench.inner.is_open:
                bench.inner.lose()
            await bench.clock.advance(0.5)
        assert len(bench.made) < 15
        await bench.clock.advance(20.0)
        made = len(bench.made)
        bench.inner.lose()
        await bench.clock.advance(0.3)
        assert len(bench.made) == made + 1
        await bench.link.close()

    asyncio.run(work())


def test_without_patience_the_first_failure_is_the_callers() -> None:
    """At the start she is told what is wrong instead of waiting for a sensor that is not there."""

    async def work() -> None:
        bench = Bench()
        bench.inner.refusal = LinkBusy("held by another program: close it", "one:")
        with pytest.raises(LinkBusy):
            await bench.open()
        assert bench.clock.sleeper_count == 0

    asyncio.run(work())


def test_with_patience_it_waits_for_the_first_connection() -> None:
    """An app starts before its sensor is switched on, and has it when it comes."""

    async def work() -> None:
        bench = Bench(patient=True)
        bench.inner.refusal = LinkNotFound("not there", "one:")
        await bench.open()
        await settle()
        assert bench.names == [CONNECTING, WAITING]
        await bench.clock.advance(0.3)
        assert bench.names[-1] == CONNECTED
        await bench.link.close()

    asyncio.run(work())


def test_a_port_that_came_back_under_another_name_is_used() -> None:
    """After a loss the sensor is looked for by its identity, and the new name is tried."""

    async def work() -> None:
        bench = Bench()
        await bench.open()
        bench.elsewhere = "two:"
        bench.inner.lose()
        await bench.clock.advance(0.3)
        assert bench.made == ["one:", "two:"]
        assert bench.link.url == "two:"
        assert bench.states[-1].url == "two:"
        await bench.link.close()

    asyncio.run(work())


@pytest.mark.parametrize("end", [RecordingEnded("the recording has ended", "file:x"), UsageError("no such option")])
def test_what_cannot_be_cured_ends_it(end: LinkError | UsageError) -> None:
    """The end of a recording, or a URL that cannot be, is final and told as such."""

    async def work() -> None:
        bench = Bench(patient=True)
        bench.inner.refusal = end  # type: ignore[assignment]
        await bench.open()
        await bench.clock.advance(60.0)
        assert len(bench.made) == 1
        assert bench.names[-1] == STOPPED
        assert len(bench.lost) == 1
        await bench.link.close()

    asyncio.run(work())


def test_clock_jumps_do_no_harm() -> None:
    """A host that slept for a day, or whose clock ran backwards, goes on as before."""

    async def work() -> None:
        bench = Bench()
        await bench.open()
        bench.clock.now_s += 86_400.0
        bench.inner.lose()
        await bench.clock.advance(0.3)
        assert bench.names[-1] == CONNECTED
        bench.clock.now_s -= 1e6
        bench.inner.lose()
        await bench.clock.advance(5.1)
        assert bench.names[-1] == CONNECTED
        await bench.link.close()

    asyncio.run(work())


def test_a_sensor_survives_a_day_of_mishaps() -> None:
    """Unplugged in mid-block, back with an empty memory: range and rate are set again, metering goes on, nothing twice."""

    async def work() -> None:
        clock = FakeClock()
        simulated = SimulatedLink(clock=clock, sleep=clock.sleep)
        link = ReconnectingLink("sim:", lambda _: simulated, clock=clock, sleep=clock.sleep)
        pops: list[Measurement] = []
        states: list[SensorState] = []
        sensor = Sensor(link, None, pops.append, states.append, clock, sleep=clock.sleep)
        await sensor.start()
        await settle()
        await sensor.choose_range(20.0)
        await settle()
        simulated.pop(Pulse(30.0))
        shown = simulated.chip.pop(Pulse(30.0), 1.0)
        assert shown is not None
        simulated.say(shown.notice + shown.block[:300])
        simulated.unplug()
        await clock.advance(20.0)
        simulated.plug()
        await clock.advance(6.0)
        assert simulated.chip.range_index == 1
        simulated.pop(Pulse(30.0))
        assert [p.incomplete for p in pops] == [False, True, False]
        assert [s.name for s in states if s.name in (READY, LOST)] == [READY, LOST, READY]
        await sensor.stop()

    asyncio.run(work())


def test_replugging_a_real_pty_is_survived() -> None:
    """Over pyserial: the port vanishes, comes back under another name, and the sensor is met again."""

    async def work() -> None:
        first, second = PtySensor().start(), PtySensor().start()
        ready = asyncio.Event()
        lost = asyncio.Event()

        async def elsewhere() -> str | None:
            return f"serial:{second.port.name}"

        def on_state(state: SensorState) -> None:
            (ready if state.name == READY else lost if state.name == LOST else asyncio.Event()).set()

        link = ReconnectingLink(f"serial:{first.port.name}", link_for, find_again=elsewhere)
        pops: list[Measurement] = []
        measured = asyncio.Event()
        sensor = Sensor(link, None, lambda pop: (pops.append(pop), measured.set()), on_state)  # type: ignore[arg-type,func-returns-value]
        await sensor.start()
        await asyncio.wait_for(ready.wait(), 5)
        ready.clear()
        first.stop()
        await asyncio.wait_for(lost.wait(), 5)
        await asyncio.wait_for(ready.wait(), 5)
        shown = second.chip.pop(Pulse(300.0), 1.0)
        assert shown is not None
        second.port.say(shown.notice + shown.block)
        await asyncio.wait_for(measured.wait(), 5)
        assert not pops[0].incomplete
        await sensor.stop()
        second.stop()

    asyncio.run(work())


def test_a_damaged_recording_is_an_end(tmp_path: Path) -> None:
    """A recording through the reconnecting link ends with its end, and is not played again and again."""
    path = tmp_path / "r.jsonl"
    path.write_text('{"format":"meterlink recording","version":1,"url":"x:"}\n{"t":0,"d":"in","b":"YQ=="}\n')

    async def work() -> None:
        got: list[bytes] = []
        ended: asyncio.Future[LinkError] = asyncio.get_running_loop().create_future()
        link = ReconnectingLink(f"file:{path}?speed=max", link_for)
        await link.open(lambda data, *_: got.append(data), ended.set_result)
        error = await asyncio.wait_for(ended, 5)
        assert isinstance(error, RecordingEnded)
        assert got == [b"a"]
        await link.close()

    asyncio.run(work())


def test_the_old_link_is_closed_before_a_new_one_is_made_and_its_late_words_are_nobodys() -> None:
    """Half-open links deliver twice: the old one is dropped first; its bytes and its loss no longer count."""
    order: list[str] = []

    class Told(ScriptedLink):
        async def close(self) -> None:
            order.append("closed")
            await super().close()

    async def work() -> None:
        clock = FakeClock()
        links: list[Told] = []
        got: list[bytes] = []

        def make(url: str) -> Told:
            order.append("made")
            links.append(Told(url=url, clock=clock))
            return links[-1]

        link = ReconnectingLink("one:", make, clock=clock, sleep=clock.sleep)
        await link.open(lambda data, *_: got.append(data), lambda _error: None)
        old_bytes, old_lost = links[0]._on_bytes, links[0]._on_lost
        links[0].lose()
        await clock.advance(0.3)
        assert old_bytes is not None
        assert old_lost is not None
        old_bytes(b"late", clock(), "")
        old_lost(LinkLost("late: it was lost long ago", "one:"))
        await settle()
        links[1].say(b"new")
        assert got == [b"new"]
        assert link.state.name == CONNECTED
        assert len(links) == 2
        await link.close()

    asyncio.run(work())
    assert order[:3] == ["made", "closed", "made"]
