"""The app's sensor: found, connected, lost and back, driven by the simulated link on a clock of its own."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest

from meterlink.errors import LinkNotFound, MeterlinkError, UsageError
from meterlink.library.store import Library
from meterlink.metering.outcome import Outcome, OutcomeKind
from meterlink.records import Measurement
from meterlink.simulation.sensor import SimulatedLink
from mobile import sensors_state
from mobile.sensor_desk import KNOWN, Found, SensorDesk, Status


class Told:
    """What a sensor desk tells."""

    def __init__(self) -> None:
        self.measured: list[Measurement] = []
        self.levels: list[Measurement] = []
        self.changes = 0
        self.now_s = 10.0

    def take(self, measurement: Measurement) -> Outcome:
        """Keep a measurement."""
        self.measured.append(measurement)
        return Outcome(OutcomeKind.IGNORED, "")

    def change(self) -> None:
        """Count."""
        self.changes += 1


def run(tmp_path: Path, scenario: Callable[[SensorDesk, Told], Awaitable[Any]], **options: Any) -> Any:
    """Run a scenario with a sensor desk whose links are simulated."""

    async def main() -> Any:
        told = Told()
        options.setdefault("make_link", lambda url: SimulatedLink(url=url, clock=lambda: told.now_s))
        options.setdefault("finders", ())
        with Library.open(tmp_path / "library.db") as library:
            desk = SensorDesk(
                library,
                take=told.take,
                on_outcome=lambda _outcome: None,
                on_level=told.levels.append,
                on_change=told.change,
                **options,
            )
            try:
                return await asyncio.wait_for(scenario(desk, told), 20)
            finally:
                await desk.close()

    return asyncio.run(main())


async def until(condition: Callable[[], bool]) -> None:
    """Let the loop turn until something is so."""
    while not condition():
        await asyncio.sleep(0)


def test_a_simulated_sensor_connects_and_its_pops_come_through(tmp_path: Path) -> None:
    """Connected, it is marked as simulated; a pop of its set is one measurement, steady light comes too."""

    async def scenario(desk: SensorDesk, told: Told) -> Status:
        await desk.connect("sim:?every=0")
        await until(lambda: desk.status.ready)
        told.now_s += 2
        desk.simulator.pop("KEY")
        await until(lambda: bool(told.measured))
        await until(lambda: bool(told.levels))
        return desk.status

    status = run(tmp_path, scenario)

    assert status.simulated
    assert status.flash
    assert status.name


def test_an_uncalibrated_sensor_says_so(tmp_path: Path) -> None:
    """The assumed calibration is stored with the first connection, and the page says what that means."""

    async def scenario(desk: SensorDesk, told: Told) -> tuple[str, ...]:
        await desk.connect("sim:?every=0")
        await until(lambda: desk.status.ready)
        return sensors_state.sensors_look(desk.status, desk.found).facts

    assert any("not calibrated" in fact for fact in run(tmp_path, scenario))


@pytest.mark.parametrize("url", ["", "nonsense", "sim:?every=soon", "ftp://x", "x" * 5000])
def test_a_url_that_cannot_be_is_refused_in_one_line(tmp_path: Path, url: str) -> None:
    """Typed nonsense raises the command line's own error and leaves no half-connected sensor."""
    from meterlink.sensor.link.registry import link_for

    async def scenario(desk: SensorDesk, told: Told) -> tuple[str, str]:
        with pytest.raises(UsageError) as refused:
            await desk.connect(url)
        return str(refused.value), desk.status.state

    said, state = run(tmp_path, scenario, make_link=link_for)

    assert "\n" not in said
    assert state in ("none", "connecting")


def test_a_sensor_that_is_not_there_is_waited_for_in_words(tmp_path: Path) -> None:
    """Connecting never blocks: a missing port shows as lost, with the reason."""

    class Missing(SimulatedLink):
        async def open(self, on_bytes: Any, on_lost: Any) -> None:
            raise LinkNotFound("serial:/dev/none is not there: plug it in", self.url)

    async def scenario(desk: SensorDesk, told: Told) -> Status:
        await desk.connect("serial:/dev/none")
        await until(lambda: desk.status.state == "lost")
        return desk.status

    assert "not there" in run(tmp_path, scenario, make_link=lambda url: Missing(url=url)).words


def test_pulled_out_and_back_it_goes_on(tmp_path: Path) -> None:
    """A loss is told in words; plugged in again the same sensor is ready and sees the next pop."""

    async def scenario(desk: SensorDesk, told: Told) -> tuple[str, int]:
        await desk.connect("sim:?every=0")
        await until(lambda: desk.status.ready)
        desk.simulator.unplug()
        await until(lambda: desk.status.state == "lost")
        words = desk.status.words
        desk.simulator.plug()
        await desk.sensor.start()
        await until(lambda: desk.status.ready)
        told.now_s += 2
        desk.simulator.pop("KEY")
        await until(lambda: bool(told.measured))
        return words, len(told.measured)

    words, count = run(tmp_path, scenario)

    assert words
    assert count == 1


def test_sensors_used_before_are_offered_at_once(tmp_path: Path) -> None:
    """A real sensor's URL and name are remembered; the simulated one and damaged memories are not."""

    async def scenario(desk: SensorDesk, told: Told) -> None:
        await desk.connect("serial:/dev/one")
        await until(lambda: desk.status.ready)
        await desk.connect("sim:?every=0")
        await until(lambda: desk.status.ready)

    run(tmp_path, scenario)

    async def again(desk: SensorDesk, told: Told) -> tuple[Found, ...]:
        found = desk.found
        desk.library.remember(KNOWN, [["only a url"], 5, ["a", "b", 3]])
        assert desk._known() == ()
        return found

    (found,) = run(tmp_path, again)
    assert (found.url, found.known) == ("serial:/dev/one", True)


def test_a_search_shows_what_it_finds_as_it_finds_it_and_why_not_more(tmp_path: Path) -> None:
    """Sensors appear one by one; a search that cannot be made says why and does not hinder the other."""
    gate = asyncio.Event()

    async def slow(found: Callable[[Found], None]) -> str:
        found(Found("ble:1", "dome", "light sensor", -60))
        await gate.wait()
        found(Found("ble:1", "dome", "light sensor", -50))
        return ""

    async def broken(found: Callable[[Found], None]) -> str:
        raise MeterlinkError("Bluetooth is switched off: switch it on")

    async def scenario(desk: SensorDesk, told: Told) -> tuple[Any, Any, Any]:
        desk.look_for()
        desk.look_for()
        await until(lambda: bool(desk.found))
        during = sensors_state.sensors_look(desk.status, desk.found)
        gate.set()
        await until(lambda: not desk.status.looking)
        return during, desk.found, sensors_state.sensors_look(desk.status, desk.found)

    during, found, after = run(tmp_path, scenario, finders=(slow, broken))

    assert during.search.startswith("looking")
    assert [(f.url, f.signal_dbm) for f in found] == [("ble:1", -50)]
    assert after.search == "Bluetooth is switched off: switch it on"
    assert after.lines[0].bars == 4


@pytest.mark.parametrize(("dbm", "bars"), [(None, 0), (-40, 4), (-55, 4), (-67, 3), (-80, 2), (-90, 2), (-120, 1)])
def test_signal_is_shown_in_four_steps(dbm: int | None, bars: int) -> None:
    """Stronger never shows fewer bars; unknown shows none."""
    assert sensors_state.bars_of(dbm) == bars


@pytest.mark.parametrize(
    ("age_days", "method", "said"),
    [
        (0, "reference", "calibrated today"),
        (1, "reference", "calibrated yesterday"),
        (3, "reference", "3 days ago"),
        (400, "reference", "old"),
        (0, "assumed", "not calibrated"),
    ],
)
def test_the_age_of_a_calibration_is_said(age_days: int, method: str, said: str) -> None:
    """Days, a caution after a year, and plain words where there is none."""
    assert said in sensors_state.age_text(1e9, method, 1e9 + age_days * 86400 + 60)


@pytest.mark.parametrize(
    ("status", "said"),
    [
        (Status(), "no sensor"),
        (Status(url="u", state="ready", name="dome"), "dome"),
        (Status(url="u", state="ready", name="dome", battery=0.1), "dome, battery 10 %"),
        (Status(url="u", state="lost", name="dome"), "dome: connection lost, trying again"),
        (Status(url="u", state="silent", name=""), "u: no answer"),
        (Status(url="u", state="connecting"), "u: looking for it"),
    ],
)
def test_the_strip_says_the_sensor_in_one_line(status: Status, said: str) -> None:
    """Each state has its words, and a low battery is always seen."""
    assert sensors_state.strip_text(status) == said


def test_a_steady_light_sensor_says_that_it_cannot_meter_a_pop() -> None:
    """What it cannot do is a fact on its page."""
    facts = sensors_state.sensors_look(Status(url="u", state="ready", name="lux", flash=False), ()).facts

    assert "sees steady light only: it cannot meter a pop" in facts
