"""A day on set, whole: the cable is pulled in mid-block, the sensor comes back elsewhere, metering goes on by itself."""

from __future__ import annotations

import asyncio

import pytest
from pty_sensor import PtySensor

from meterlink.metering.driver import Metering
from meterlink.metering.session import Outcome, Session
from meterlink.metering.walk import Request
from meterlink.sensor.measuring.tended import LOST, READY, SensorState
from meterlink.simulation.studio import Pulse


def pop(sensor: PtySensor, exposure_lxs: float, *, bytes_of_block: int | None = None) -> None:
    """Fire a flash at the sensor; with ``bytes_of_block`` only so much of the block gets through."""
    shown = sensor.chip.pop(Pulse(exposure_lxs), 1.0)
    assert shown is not None
    sensor.port.say(shown.notice + (shown.block if bytes_of_block is None else shown.block[:bytes_of_block]))


def test_metering_goes_on_at_its_light_after_the_sensor_came_back_under_another_name(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    """KEY stays logged, the cut block is told and not logged, FILL is still waited for, found by the sensor's identity."""
    outcomes: list[Outcome] = []
    states: list[SensorState] = []

    async def until(condition: object) -> None:
        async with asyncio.timeout(10):
            while not condition():  # type: ignore[operator]
                await asyncio.sleep(0.01)

    async def work() -> None:
        first, second = PtySensor().start(), PtySensor()
        monkeypatch.setenv("METERLINK_PORTS", second.port.name)
        light = [session.light(name) for name in ("KEY", "FILL")]
        session.begin([Request(one.id, point=one.point, held_off_m=0.0) for one in light])
        metering = Metering(
            session, f"serial:{first.port.name}", on_outcome=outcomes.append, on_state=states.append
        )
        await metering.open()
        await metering.ready()
        pop(first, 300.0)
        await until(lambda: [o.kind for o in outcomes] == ["logged"])
        session._last_flash = None  # the test fires sooner than any head recycles
        pop(first, 300.0, bytes_of_block=300)
        await asyncio.sleep(0.05)
        first.stop()
        await until(lambda: any(s.name == LOST for s in states))
        assert session.walk.waiting is not None
        assert session.walk.waiting.light_id == light[1].id

        second.start()
        await until(lambda: [s.name for s in states if s.name in (READY, LOST)] == [READY, LOST, READY])
        session._last_flash = None  # the test fires sooner than any head recycles
        pop(second, 150.0)
        await asyncio.wait_for(metering.walked(), 10)
        await metering.close()
        second.stop()

    asyncio.run(work())
    assert [o.kind for o in outcomes] == ["logged", "again", "logged"]
    assert [o.light.name for o in outcomes if o.light and o.kind == "logged"] == ["KEY", "FILL"]
    assert len(session.library.all_readings(session.setup.id)) == 2
    told = [s.words for s in states if s.name == LOST]
    assert len(told) == len(set(told)) >= 1
