"""The simulated sensor: deterministic, honest about what it is asked, and reachable by its URL."""

from __future__ import annotations

import asyncio

import pytest
from faulty_link import FaultyLink

from meterlink.errors import LinkBusy, LinkError, LinkNotFound, UsageError
from meterlink.records import Measurement, Reply, Status
from meterlink.sensor.dialects import messages as m
from meterlink.sensor.dialects.native import NativeDecoder
from meterlink.sensor.link.registry import link_for
from meterlink.sensor.measuring.sensor import Sensor
from meterlink.simulation.chip_model import ChipModel
from meterlink.simulation.sensor import SimulatedLink
from meterlink.simulation.studio import Pulse
from meterlink.testing import FakeClock, VirtualLoop, settle


def test_the_same_seed_gives_the_same_bytes() -> None:
    """Two chips of one seed say the same, one of another seed does not."""

    def story(seed: int) -> bytes:
        chip = ChipModel(seed=seed)
        shown = chip.pop(Pulse(300.0), 1.0)
        assert shown is not None
        return chip.restart() + shown.notice + shown.block + chip.steady(2.0)

    assert story(1) == story(1)
    assert story(1) != story(2)


def test_commands_are_obeyed_or_refused_with_a_reason() -> None:
    """Good commands are done, impossible values and unknown commands are answered as the specification says."""
    chip, host = ChipModel(), NativeDecoder()

    def ask(frame: bytes) -> object:
        (answer,) = host.feed(chip.hear(frame, 1.0), 1.0)
        return answer

    host.feed(chip.restart(), 0.0)
    said = (host.command(kind, value) for kind, value in ((m.SET_RANGE, 1), (m.STEADY_RATE, 20), (m.SET_INTERVAL, 4)))
    for frame in (*said, host.message(m.ARM, b"\x01\xcd\x0c")):
        answer = ask(frame)
        assert isinstance(answer, Reply)
        assert answer.code == m.DONE
    impossible, unknown = ask(host.command(m.SET_RANGE, 5)), ask(host.message(0xEE))
    assert isinstance(impossible, Reply)
    assert isinstance(unknown, Reply)
    assert (impossible.code, unknown.code) == (m.NOT_POSSIBLE, m.UNKNOWN_COMMAND)
    assert chip.hear(host.identify()[:-3] + b"\x07\0", 1.0) == b""
    status = ask(host.command(m.GET_STATUS))
    assert isinstance(status, Status)
    assert (status.range_index, status.sample_interval_s, status.frames_refused) == (1, 52e-6, 1)
    assert status.threshold_raw == pytest.approx(0.05, abs=1e-4)


def test_a_pop_below_the_threshold_or_unarmed_is_not_seen() -> None:
    """A weak flash does not trigger, and an unarmed sensor sees none."""
    chip = ChipModel()
    assert chip.pop(Pulse(2.0), 1.0) is None
    chip.armed = False
    assert chip.pop(Pulse(300.0), 1.0) is None


def test_a_slow_flash_is_whole_at_a_longer_interval() -> None:
    """At factor 4 the same memory reaches four times as far, and the exposure is right."""

    async def work() -> None:
        clock = FakeClock()
        link = SimulatedLink(clock=clock, sleep=clock.sleep)
        pops: list[Measurement] = []
        sensor = Sensor(link, None, pops.append, None, clock, sleep=clock.sleep)
        await sensor.start()
        await settle()
        await link.write(NativeDecoder().command(m.SET_INTERVAL, 4))
        link.pop(Pulse(4000.0, fall_s=4e-3))
        assert pops[0].exposure_lxs == pytest.approx(4000.0, rel=0.02)
        await sensor.stop()

    asyncio.run(work())


def test_sim_fires_its_lights_in_order() -> None:
    """``sim:`` with two lights named gives pops of these two by turns, every so many seconds."""

    async def work() -> None:
        link = link_for("sim:?every=2&lights=KEY,HAIR&seed=3")
        assert isinstance(link, SimulatedLink)
        link._clock = asyncio.get_running_loop().time
        pops: list[Measurement] = []
        sensor = Sensor(link, None, pops.append)
        await sensor.start()
        await asyncio.sleep(14.0)
        await sensor.stop()
        good = [p for p in pops if not (p.clipped or p.too_dim)]
        assert len(pops) == 7
        truth = [link.studio.exposure_lxs(name) for name in ("KEY", "HAIR")]
        assert {min((0, 1), key=lambda i: abs((p.exposure_lxs or 0) / truth[i] - 1)) for p in good} <= {0, 1}
        assert good[0].exposure_lxs == pytest.approx(truth[0], rel=0.06)

    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        runner.run(work())


@pytest.mark.parametrize(
    "url", ["sim:?every=x", "sim:?every=-1", "sim:?every=nan", "sim:?seed=a", "sim:?lights=LAMP", "sim:?colour=red"]
)
def test_impossible_options_are_refused(url: str) -> None:
    """Options of ``sim:`` are checked in one line."""
    with pytest.raises(UsageError) as caught:
        link_for(url)
    assert "\n" not in str(caught.value)


def test_faults_are_counted_and_the_sensor_may_be_busy() -> None:
    """A faulty link does what it says, and finds its sensor busy as often as it is told to."""

    async def work() -> None:
        clock = FakeClock()
        simulated = SimulatedLink(clock=clock, sleep=clock.sleep)
        link = FaultyLink(simulated, seed=5, rate=0.5)
        got: list[bytes] = []
        lost: list[LinkError] = []
        link.busy_openings = 1
        with pytest.raises(LinkBusy):
            await link.open(lambda data, *_: got.append(data), lost.append)
        await link.open(lambda data, *_: got.append(data), lost.append)
        for _ in range(200):
            await clock.advance(0.1)
        assert sum(link.counts.values()) > 50
        assert max(map(len, got)) <= 90
        simulated.unplug(half_frame=True)
        assert len(lost) == 1
        with pytest.raises(LinkNotFound):
            await link.open(lambda *_: None, lost.append)

    asyncio.run(work())
