"""What reads a block is warmed while the block is on the line, and costs nothing where it is here already."""

from __future__ import annotations

import asyncio
from itertools import pairwise

import pytest

from meterlink.records import Measurement
from meterlink.sensor.measuring import flash
from meterlink.sensor.measuring.sensor import Sensor
from meterlink.simulation.chip_model import ChipModel
from meterlink.simulation.sensor import SimulatedLink
from meterlink.simulation.studio import Pulse
from meterlink.testing import FakeClock, settle


def heard(monkeypatch: pytest.MonkeyPatch, *cuts: int) -> list[str]:
    """What happens when a pop's notice and block come in pieces that begin at these bytes of the two together; 0 is the notice."""
    order: list[str] = []
    rehearse = flash.rehearse

    def told() -> None:
        order.append("rehearsed")
        rehearse()

    def measured(pop: Measurement) -> None:
        assert pop.exposure_lxs == pytest.approx(300.0, rel=0.1)
        order.append("measured")

    monkeypatch.setattr(flash, "rehearse", told)

    async def work() -> None:
        clock = FakeClock()
        link = SimulatedLink(ChipModel(), clock=clock, sleep=clock.sleep)
        sensor = Sensor(link, None, measured, None, clock, sleep=clock.sleep)
        await sensor.start()
        await settle()
        link.chip.steady_rate_hz = 0
        shown = link.chip.pop(Pulse(300.0), 1.0)
        assert shown is not None
        data = shown.notice + shown.block
        for begin, end in pairwise((0, *(cut or len(shown.notice) for cut in cuts), len(data))):
            link.say(data[begin:end])
            await settle()
        await sensor.stop()

    asyncio.run(work())
    return order


@pytest.mark.parametrize("cuts", [(0,), (0, 400, 800)])
def test_a_block_on_the_line_is_rehearsed_once_before_it_is_read(monkeypatch: pytest.MonkeyPatch, cuts: tuple[int, ...]) -> None:
    """The notice is 40 ms ahead of its block: time that the reading would otherwise take after it."""
    assert heard(monkeypatch, *cuts) == ["rehearsed", "measured"]


def test_a_block_that_came_with_its_notice_is_read_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is gained by a rehearsal after the fact."""
    assert heard(monkeypatch) == ["measured"]
