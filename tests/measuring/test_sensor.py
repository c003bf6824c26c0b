"""A whole sensor, from bytes to measurements, without any real time passing."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from typing import Any

import pytest

from meterlink.errors import LinkNotFound, SensorError
from meterlink.records import Calibration, HeldOff, Identity, Measurement, RangeScale
from meterlink.sensor.dialects.native import NativeDecoder
from meterlink.sensor.dialects.sensor_side import SensorEncoder
from meterlink.sensor.measuring.sensor import Sensor
from meterlink.sensor.measuring.tended import LOOKING, LOST, READY, SILENT, STOPPED, SensorState
from meterlink.simulation.chip_model import ChipModel
from meterlink.simulation.sensor import SimulatedLink
from meterlink.simulation.studio import Pulse
from meterlink.testing import FakeClock, ScriptedLink, settle


class Bench:
    """A simulated sensor on a bench, its host, and everything that came."""

    def __init__(self, **chip: Any) -> None:
        self.clock = FakeClock()
        self.link = SimulatedLink(ChipModel(**chip), clock=self.clock, sleep=self.clock.sleep)
        self.pops: list[Measurement] = []
        self.levels: list[Measurement] = []
        self.states: list[SensorState] = []
        self.sensor = Sensor(
            self.link, None, self.pops.append, self.states.append, self.clock,
            on_level=self.levels.append, sleep=self.clock.sleep,
        )  # fmt: skip

    async def ready(self) -> None:
        """Start and let the two greet each other."""
        await self.sensor.start()
        await settle()
        assert self.sensor.state.name == READY


def run(work: Coroutine[Any, Any, None]) -> None:
    """Run one test's coroutine."""
    asyncio.run(work)


def test_a_pop_becomes_one_measurement_in_light() -> None:
    """A flash of known exposure comes out with that exposure, once, with its waveform and durations."""

    async def work() -> None:
        bench = Bench()
        await bench.ready()
        bench.link.pop(Pulse(900.0, fall_s=0.7e-3))
        (pop,) = bench.pops
        assert pop.exposure_lxs == pytest.approx(900.0, rel=0.03)
        assert pop.peak_lx == pytest.approx(Pulse(900.0, fall_s=0.7e-3).peak_lx, rel=0.03)
        assert (pop.kind, pop.clipped, pop.too_dim, pop.incomplete, pop.note) == ("flash", False, False, False, "")
        assert pop.calibration_id == f"assumed-{bench.sensor.identity.sensor_id}"  # type: ignore[union-attr]
        assert pop.wave is not None
        assert len(pop.wave.data) == 1024
        await bench.sensor.stop()
        assert [s.name for s in bench.states] == [LOOKING, READY, STOPPED]

    run(work())


@pytest.mark.parametrize("on_its_way", [False, True])
def test_a_sensor_is_not_asked_for_its_state_while_a_pop_is_on_its_way(on_its_way: bool) -> None:
    """After a pop it is asked what it has lost: that takes its converter off the light, so not between a notice and its block."""

    async def work() -> None:
        bench = Bench()
        await bench.ready()
        written: list[bytes] = []
        write = bench.link.write

        async def heard(data: bytes) -> None:
            written.append(data)
            await write(data)

        bench.link.write = heard  # type: ignore[method-assign]
        bench.link.pop(Pulse(900.0))
        await bench.clock.advance(0.15)
        if on_its_way:
            bench.link.say(bench.link.chip.encoder.pop(0.15, 2, bench.sensor.range_index))
        await bench.clock.advance(0.1)
        assert len(written) == (0 if on_its_way else 1)
        await bench.sensor.stop()

    run(work())


def test_a_pop_that_is_too_small_moves_to_the_dim_range_and_the_next_one_counts() -> None:
    """Too small on the bright range: marked, the range is switched, one more pop is asked for, and that one is right."""

    async def work() -> None:
        bench = Bench()
        await bench.ready()
        bench.link.pop(Pulse(40.0))
        await settle()
        assert bench.link.chip.range_index == 0  # the flash itself may be still to come, if this was a pre-flash
        await bench.clock.advance(0.2)
        assert bench.link.chip.range_index == 1
        bench.link.pop(Pulse(40.0))
        first, second = bench.pops
        assert (first.too_dim, first.range_index) == (True, 0)
        assert "dim range, one more pop" in str(first.note)
        assert (second.too_dim, second.range_index, second.note) == (False, 1, "")
        assert second.exposure_lxs == pytest.approx(40.0, rel=0.05)
        await bench.sensor.stop()

    run(work())


def test_a_pop_that_clips_moves_to_the_bright_range() -> None:
    """Clipped on the dim range: the figures are marked and the bright range is used for the next pop."""

    async def work() -> None:
        bench = Bench()
        await bench.ready()
        await bench.sensor.choose_range(20.0)
        await settle()
        assert bench.link.chip.range_index == 1
        bench.link.pop(Pulse(600.0))
        await bench.clock.advance(0.2)
        bench.link.pop(Pulse(600.0))
        first, second = bench.pops
        assert first.clipped
        assert str(first.note).startswith("clips: now on the bright range")
        assert not second.clipped
        assert second.exposure_lxs == pytest.approx(600.0, rel=0.03)
        await bench.sensor.stop()

    run(work())


def test_clipping_on_the_widest_range_says_what_to_do() -> None:
    """When no range is left the photographer is told to lower the power, and no switch is tried."""

    async def work() -> None:
        bench = Bench()
        await bench.ready()
        bench.link.pop(Pulse(5000.0))
        await settle()
        (pop,) = bench.pops
        assert pop.clipped
        assert "lower the power" in str(pop.note)
        assert bench.link.chip.range_index == 0
        await bench.sensor.stop()

    run(work())


@pytest.mark.parametrize(("expected_lxs", "range_index"), [(1500.0, 0), (20.0, 1), (None, 0), (0.0, 0)])
def test_the_range_is_chosen_from_what_is_expected(expected_lxs: float | None, range_index: int) -> None:
    """A strong light is awaited on the bright range, a weak one on the dim one, an unknown one where the sensor is."""

    async def work() -> None:
        bench = Bench()
        await bench.ready()
        await bench.sensor.choose_range(expected_lxs)
        await settle()
        assert bench.link.chip.range_index == range_index
        await bench.sensor.stop()

    run(work())


def test_a_damaged_block_is_told_as_an_incomplete_pop() -> None:
    """The notice came, the block did not verify: the pop is not silently missing, and nothing in it is believed."""

    async def work() -> None:
        bench = Bench()
        await bench.ready()
        bench.link.pop_damaged(Pulse(300.0))
        assert bench.pops == []
        await bench.clock.advance(1.0)
        (pop,) = bench.pops
        assert pop.incomplete
        assert pop.exposure_lxs is None
        assert "one more pop" in str(pop.note)
        assert bench.sensor.damaged_frames == 1
        bench.link.pop(Pulse(300.0))
        assert bench.pops[1].exposure_lxs == pytest.approx(300.0, rel=0.1)
        await bench.sensor.stop()

    run(work())


def test_a_block_that_never_comes_is_told_even_when_the_line_falls_silent() -> None:
    """A notice with nothing behind it is reported after the time that the longest block can take."""

    async def work() -> None:
        bench = Bench()
        await bench.ready()
        bench.link.chip.steady_rate_hz = 0
        shown = bench.link.chip.pop(Pulse(300.0), 1.0)
        assert shown is not None
        await bench.clock.advance(0.5)
        bench.link.say(shown.notice)
        await bench.clock.advance(3.5)
        assert [p.incomplete for p in bench.pops] == [True]
        bench.link.say(shown.block)
        assert len(bench.pops) == 1, "a pop that was told as lost must not count a second time"
        await bench.sensor.stop()

    run(work())


def test_doubled_bytes_give_one_measurement() -> None:
    """A link that delivers everything twice makes no second reading of one pop."""

    async def work() -> None:
        bench = Bench()
        await bench.ready()
        shown = bench.link.chip.pop(Pulse(300.0), 1.0)
        assert shown is not None
        for data in (shown.notice, shown.notice, shown.block, shown.block, shown.notice):
            bench.link.say(data)
        await bench.clock.advance(5.0)
        assert len(bench.pops) == 1
        await bench.sensor.stop()

    run(work())


def test_a_reset_in_mid_block_is_survived_and_the_settings_come_back() -> None:
    """The sensor restarts while sending: the pop is told as incomplete, range and rate are set again, pops go on."""

    async def work() -> None:
        bench = Bench()
        await bench.ready()
        await bench.sensor.choose_range(20.0)
        await settle()
        shown = bench.link.chip.pop(Pulse(30.0), 1.0)
        assert shown is not None
        bench.link.say(shown.notice + shown.block[:400])
        bench.link.reset()
        await settle()
        assert [p.incomplete for p in bench.pops] == [True]
        assert bench.link.chip.range_index == 1
        bench.link.pop(Pulse(30.0))
        assert bench.pops[1].exposure_lxs == pytest.approx(30.0, rel=0.05)
        await bench.sensor.stop()

    run(work())


def test_unplugging_in_mid_block_reports_the_pop_and_the_loss_once() -> None:
    """What was in flight is told as incomplete, the loss is told in words with what to do."""

    async def work() -> None:
        bench = Bench()
        await bench.ready()
        shown = bench.link.chip.pop(Pulse(300.0), 1.0)
        assert shown is not None
        bench.link.say(shown.notice + shown.block[:400])
        bench.link.unplug()
        assert [p.incomplete for p in bench.pops] == [True]
        assert [s.name for s in bench.states] == [LOOKING, READY, LOST]
        assert "plug it in again" in bench.states[-1].words
        await bench.sensor.stop()

    run(work())


def test_garbage_between_frames_is_counted_and_nothing_else() -> None:
    """Noise on the line costs frames, never an invented measurement."""

    async def work() -> None:
        bench = Bench()
        await bench.ready()
        for _ in range(50):
            bench.link.garbage(200)
        bench.link.say(b"\0")
        bench.link.pop(Pulse(300.0))
        assert len(bench.pops) == 1
        assert bench.sensor.damaged_frames > 10
        await bench.sensor.stop()

    run(work())


def test_steady_light_is_averaged_on_the_range_that_suits_it() -> None:
    """Room light is hardly a code on the bright range: the sensor goes to the dim one and averages there only."""

    async def work() -> None:
        bench = Bench()
        bench.link.chip.ambient_lx = 8000.0
        await bench.ready()
        taking = asyncio.ensure_future(bench.sensor.take_steady(1.0))
        await bench.clock.advance(3.0)
        level = await taking
        assert level.kind == "steady"
        assert level.range_index == 1
        assert level.illuminance_lx == pytest.approx(8000.0, rel=0.02)
        assert level.u_rel < 0.02
        assert len(bench.levels) > 10
        await bench.sensor.stop()

    run(work())


def test_steady_light_is_ready_as_soon_as_its_window_is_full() -> None:
    """A second of light takes a second of ten levels, not until patience ends, and the next second begins anew."""

    async def work() -> None:
        bench = Bench()
        bench.link.chip.ambient_lx = 100_000.0
        await bench.ready()
        await bench.sensor.listen_closest()
        await bench.clock.advance(0.5)
        for ambient_lx in (100_000.0, 50_000.0):
            bench.link.chip.ambient_lx = ambient_lx
            taking = asyncio.ensure_future(bench.sensor.take_steady(1.0))
            await bench.clock.advance(0.9)
            assert not taking.done()
            await bench.clock.advance(0.4)
            assert taking.done()
            assert taking.result().illuminance_lx == pytest.approx(ambient_lx, rel=0.01)
        await bench.sensor.stop()

    run(work())


def test_light_of_the_range_before_is_not_mixed_in() -> None:
    """The bright range reads three times too high: the average on the dim one, to which it switches, has nothing of that."""

    async def work() -> None:
        bench = Bench()
        bench.link.chip.ambient_lx = 8000.0
        await bench.ready()
        assert bench.sensor.calibration is not None
        bench.sensor.calibration = bench.sensor.calibration._replace(ranges=(RangeScale(6e6, 0.02), RangeScale(2e5, 0.02)))
        taking = asyncio.ensure_future(bench.sensor.take_steady(1.0))
        await bench.clock.advance(3.0)
        assert (await taking).illuminance_lx == pytest.approx(8000.0, rel=0.02)
        assert max(level.illuminance_lx or 0.0 for level in bench.levels) > 20_000.0
        await bench.sensor.stop()

    run(work())


def test_a_step_of_a_walk_takes_its_light_anew_on_its_own_range() -> None:
    """The range in use stays, held or not, what began before is left out, and a sensor that restarts is put back on its range."""

    async def work() -> None:
        bench = Bench()
        bench.link.chip.ambient_lx = 8000.0
        await bench.ready()
        unheld = asyncio.ensure_future(bench.sensor.take_steady(0.8, stay=True))
        await bench.clock.advance(2.0)
        assert (unheld.result().range_index, bench.link.chip.range_index) == (0, 0)
        await bench.sensor.hold_range(1)
        await bench.clock.advance(0.5)
        taking = asyncio.ensure_future(bench.sensor.take_steady(0.8, stay=True))
        await bench.clock.advance(0.1)
        bench.link.chip.ambient_lx = 4000.0
        await bench.clock.advance(0.5)
        bench.link.reset()
        bench.link.say(bench.link.chip.steady(1.0))
        assert bench.levels[-1].range_index == 0
        await bench.clock.advance(0.75)
        assert not taking.done()
        await bench.clock.advance(1.0)
        assert (taking.result().range_index, bench.link.chip.range_index) == (1, 1)
        assert taking.result().illuminance_lx == pytest.approx(4000.0, rel=0.02)
        first = asyncio.ensure_future(bench.sensor.take_steady(0.8, stay=True))
        await settle()
        bench.link.chip.ambient_lx = 9000.0
        bench.link.say(bench.link.chip.steady(1.0))
        bench.link.chip.ambient_lx = 4000.0
        await bench.clock.advance(1.5)
        assert first.result().illuminance_lx == pytest.approx(4000.0, rel=0.01)
        short = asyncio.ensure_future(bench.sensor.take_steady(0.8, 1.0, stay=True))
        await bench.clock.advance(0.35)
        bench.link.chip.steady_rate_hz = 0
        await bench.clock.advance(2.0)
        with pytest.raises(SensorError, match="no steady light"):
            await short
        await bench.sensor.stop()

    run(work())


def test_a_sensor_without_steady_light_says_so() -> None:
    """Asking for steady light where none comes ends in one line instead of waiting for ever."""

    async def work() -> None:
        bench = Bench()
        await bench.ready()
        bench.link.chip.steady_rate_hz = 0
        await bench.clock.advance(0.2)
        taking = asyncio.ensure_future(bench.sensor.take_steady(1.0))
        await bench.clock.advance(5.0)
        with pytest.raises(SensorError, match="no steady light"):
            await taking
        await bench.sensor.stop()

    run(work())


def test_something_that_does_not_answer_is_called_silent() -> None:
    """A port owned by something that is no sensor: it is asked several times, then said so, with what to try."""

    async def work() -> None:
        clock = FakeClock()
        asker = NativeDecoder()
        with ScriptedLink([(asker.identify(), b"AT+?\r\nERROR\r\n")] + [(asker.identify(), b"") for _ in range(5)]) as link:
            states: list[SensorState] = []
            sensor = Sensor(link, None, None, states.append, clock, sleep=clock.sleep)
            await sensor.start()
            await clock.advance(10.0)
            assert [s.name for s in states] == [LOOKING, SILENT]
            assert "sensors --try" in states[-1].words
            waiting = asyncio.ensure_future(sensor.identified(1.0))
            await clock.advance(2.0)
            with pytest.raises(SensorError, match="nothing that is a known sensor"):
                await waiting
            await sensor.stop()

    run(work())


def test_a_board_that_restarts_when_opened_is_asked_again() -> None:
    """A board that is deaf for two seconds after its port was opened is found by the later questions."""

    async def work() -> None:
        bench = Bench()
        deaf = bench.link.chip.hear
        bench.link.chip.hear = lambda data, now_s: b""  # type: ignore[method-assign]
        await bench.sensor.start()
        await bench.clock.advance(2.0)
        assert bench.sensor.identity is None
        bench.link.chip.hear = deaf  # type: ignore[method-assign]
        await bench.clock.advance(1.0)
        assert bench.sensor.state.name == READY
        await bench.sensor.stop()

    run(work())


def test_a_missing_sensor_is_raised_at_the_start() -> None:
    """When the link cannot be opened at all the caller hears why."""
    bench = Bench()
    bench.link.plugged = False
    with pytest.raises(LinkNotFound, match="plug it in"):
        run(bench.sensor.start())


def test_a_stored_calibration_is_used_and_one_without_the_range_is_refused_in_words() -> None:
    """Readings carry the stored calibration; a range that it does not have gives a marked pop, never a guessed number."""

    async def work() -> None:
        bench = Bench()
        stored = Calibration("c1", "51b0a7e000000001", 0.0, 330.0, ranges=(RangeScale(4e6),))
        seen: list[Identity] = []
        bench.sensor.intake._calibration_for = lambda who: seen.append(who) or stored  # type: ignore[func-returns-value]
        await bench.ready()
        bench.link.pop(Pulse(900.0))
        assert bench.pops[0].calibration_id == "c1"
        assert bench.pops[0].exposure_lxs == pytest.approx(1800.0, rel=0.05)
        bench.link.chip.range_index = 1
        bench.link.pop(Pulse(50.0))
        assert bench.pops[1].incomplete
        assert "meterlink calibrate" in str(bench.pops[1].note)
        assert len(seen) == 1
        await bench.sensor.stop()

    run(work())


def test_a_pop_before_the_identity_is_not_believed() -> None:
    """Without knowing who speaks there is no calibration: the pop is marked and one more is asked for."""

    async def work() -> None:
        link, pops = ScriptedLink([(NativeDecoder().identify(), b"")]), list[Measurement]()
        clock = FakeClock()
        sensor = Sensor(link, None, pops.append, None, clock, sleep=clock.sleep)
        await sensor.start()
        await settle()
        shown = ChipModel().pop(Pulse(300.0), 1.0)
        assert shown is not None
        link.say(shown.notice + shown.block)
        (pop,) = pops
        assert pop.incomplete
        assert pop.exposure_lxs is None
        assert "had said who it is" in str(pop.note)
        await sensor.stop()

    run(work())


def test_lost_pops_low_battery_and_distance_are_passed_on() -> None:
    """What the sensor says beside light reaches the person once, and a range finder's distance reaches the reading."""

    async def work() -> None:
        bench = Bench()
        await bench.ready()
        encoder: SensorEncoder = bench.link.chip.encoder
        bench.link.say(encoder.battery(0.1))
        bench.link.say(encoder.battery(0.09))
        bench.link.say(encoder.distance(HeldOff(0.0, 0.21), figures=False))
        bench.link.pop(Pulse(300.0))
        bench.link.chip.lose_pop()
        bench.link.pop(Pulse(300.0))
        words = [s.words for s in bench.states]
        assert sum("battery is at" in w for w in words) == 1
        assert sum("came too soon" in w for w in words) == 1
        assert [p.held_off_m for p in bench.pops] == [0.21, 0.21]
        await bench.sensor.stop()

    run(work())


def test_a_sensor_that_stops_sending_is_told_once_and_so_is_its_return() -> None:
    """A connected sensor that falls silent is said to be silent, once; when bytes come again that is said too."""

    async def work() -> None:
        bench = Bench()
        await bench.ready()
        say, bench.link.say = bench.link.say, lambda data: None
        await bench.clock.advance(15.0)
        assert [state.name for state in bench.states if state.name == SILENT] == [SILENT]
        assert "sends nothing" in bench.states[-1].words

        bench.link.say = say
        await bench.clock.advance(10.0)
        assert bench.sensor.state.name == READY
        assert "sends again" in bench.sensor.state.words

    run(work())


def test_a_sensor_that_says_twice_who_it_is_is_watched_once() -> None:
    """Two restarts in one moment: what the first watcher has heard is not silence to a second one."""

    async def work() -> None:
        bench = Bench()
        await bench.ready()
        for _ in range(3):
            bench.link.reset()
            await settle()
        await bench.clock.advance(30.0)
        assert SILENT not in [state.name for state in bench.states]
        await bench.sensor.stop()

    run(work())


def test_a_sensor_that_must_be_asked_is_asked_by_one_poller_and_by_none_after_the_end() -> None:
    """Greeted again and again it is polled as often as before; stopped, no task is left."""

    async def work() -> None:
        clock = FakeClock()
        link = SimulatedLink(ChipModel(), clock=clock, sleep=clock.sleep)
        decoder = NativeDecoder()
        decoder.poll_s = 1.0
        asked: list[float] = []
        decoder.poll = lambda: asked.append(clock()) or b""  # type: ignore[method-assign, func-returns-value]
        before = len(asyncio.all_tasks())
        sensor = Sensor(link, None, None, None, clock, decoder=decoder, sleep=clock.sleep)
        await sensor.start()
        await settle()
        for _ in range(5):
            link.reset()
            await clock.advance(1.0)
        asked.clear()
        await clock.advance(10.0)
        assert 9 <= len(asked) <= 11
        await sensor.stop()
        await settle()
        assert len(asyncio.all_tasks()) == before

    run(work())
