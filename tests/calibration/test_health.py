"""``sensor-test``: a sound sensor passes, each bad build is named by its likely fault."""

from __future__ import annotations

import asyncio
import contextlib
import io
import json
import sys
from pathlib import Path

import pytest
from faulty_link import FaultyLink

from meterlink.calibration.calibrate import ZeroWalk
from meterlink.calibration.evidence import Dark, Evidence, Pair
from meterlink.calibration.health import LinkCounts, SensorTest, checks_of, faults_of
from meterlink.calibration.scale import calibrate_scale
from meterlink.errors import CalibrationError, SensorError
from meterlink.metering.calibrating import SensorStation, seen, walk_through
from meterlink.metering.sensor_in_use import SensorInUse
from meterlink.records import Identity, Measurement, Status
from meterlink.sensor.measuring.calibrate import default_calibration
from meterlink.sensor.measuring.sensor import Sensor
from meterlink.simulation.chip_model import FAULTS, BadBuild, ChipModel
from meterlink.simulation.sensor import SimulatedLink
from meterlink.testing import VirtualLoop
from tests.simulated_time import run_main

NAMED = {
    "diode-reversed": "diode reversed",
    "diode-open": "diode not connected",
    "zero-not-lifted": "zero not lifted",
    "dark-offset": "dark offset",
    "light-leak": "light leak",
    "amplifier-at-its-end": "amplifier at its end",
    "hum": "mains hum",
    "range-stuck": "range does not switch",
    "swapped-resistors": "swapped resistors",
    "wrong-resistor": "wrong resistor",
    "slow-amplifier": "slow amplifier",
    "loose-contact": "loose contact",
    "deaf": "no pop is seen",
}


class Enter:
    """Somebody who presses Enter."""

    interactive = False

    async def next(self) -> str:
        """Return an empty line."""
        return ""


def walked(chip: ChipModel, rate: float = 0.0) -> tuple[SensorTest, LinkCounts]:
    """Walk through the test with a simulated sensor, in no time."""

    async def work() -> tuple[SensorTest, LinkCounts]:
        loop = asyncio.get_running_loop()
        inner = SimulatedLink(chip, clock=loop.time, every_s=1.0)
        sensor = Sensor(FaultyLink(inner, rate=rate) if rate else inner, clock=loop.time)
        await sensor.start()
        identity = await sensor.identified()
        walk = SensorTest(identity)
        station = SensorStation(sensor, walk.calibration)
        station.pose = inner.pose
        try:
            await walk_through(walk, station, Enter(), lambda _: None, lambda _t, _k: 0.0)
        finally:
            await sensor.stop()
        return walk, LinkCounts(sensor.decoder.stats.frames, sensor.decoder.stats.damaged_total)

    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        return runner.run(work())


@pytest.mark.parametrize("seed", range(5))
def test_a_sound_sensor_passes(seed: int) -> None:
    """No fault, every line good, whatever the noise."""
    walk, link = walked(ChipModel(seed=seed))

    assert faults_of(walk, link) == ()
    assert {c.outcome for c in checks_of(walk, link)} == {"good"}


def test_every_bad_build_that_can_be_simulated_has_its_name() -> None:
    """None is left out of the list above."""
    assert set(NAMED) == set(FAULTS)


@pytest.mark.parametrize("fault", FAULTS)
def test_a_bad_build_is_named(fault: str) -> None:
    """The likely fault alone is named, with what was seen and what to do, and the line that shows it says fault."""
    for seed in (1, 2, 3):
        walk, link = walked(BadBuild(fault, seed=seed))
        (found,) = faults_of(walk, link)

        assert found.name == NAMED[fault]
        assert found.evidence
        assert found.remedy
        assert [c.outcome for c in checks_of(walk, link)].count("fault") == 1
        assert not [c for c in checks_of(walk, link) if c.outcome == "good" and "no figure" in str(c.seen)]


def test_a_bad_cable_is_named() -> None:
    """A link that spoils every twentieth delivery is told of; the sensor behind it is sound."""
    with contextlib.suppress(TimeoutError):
        walk, link = walked(ChipModel(), rate=0.08)
    assert [f.name for f in faults_of(walk, link)] == ["bytes arrive damaged"]


def lux_sensor(dark: float, torch: float) -> SensorTest:
    """A test of a sensor that reports lux by itself."""
    walk = SensorTest(Identity("a", "chip", "lux-lines"))
    for lux in (dark, torch):
        walk.take(Measurement("steady", 0.0, "a", walk.calibration.id, illuminance_lx=lux))
    return walk


@pytest.mark.parametrize(
    ("dark", "torch", "names"),
    [(0.0, 8000.0, []), (1.84, 8000.0, []), (0.0, 30.0, ["chip sees no light"]),
     (512.0, 512.0, ["chip sees no light"]), (5000.0, 9000.0, ["light leak"])],
)
def test_a_sensor_that_reports_lux_is_tested_as_far_as_it_goes(dark: float, torch: float, names: list[str]) -> None:
    """No pedestal, one range, no pops: dark and torch alone."""
    walk = lux_sensor(dark, torch)

    assert walk.done
    assert [f.name for f in faults_of(walk, LinkCounts(10))] == names
    assert not any("diode" in f"{f.evidence} {f.remedy}" or "%" in str(f.evidence) for f in faults_of(walk, LinkCounts(10)))
    row = checks_of(walk, LinkCounts(10))[1]
    assert str(row.seen) == {0.0: "0 lx", 1.84: "1.84 lx", 512.0: "512 lx", 5000.0: "5,000 lx"}[dark]
    assert row.outcome == ("fault" if dark > 20.0 else "good")


def test_a_step_in_the_dark_of_a_chip_is_told_in_lux() -> None:
    """What a step shows of a sensor that reports lux are lux: it has no range to be a part of."""
    walk = lux_sensor(1.84, 8000.0)
    taken = walk.taken[0]

    assert str(seen(walk, taken.task, taken.measurement)) == "1.84 lx"


def test_more_than_a_step_in_the_dark_of_a_chip_is_refused_as_light() -> None:
    """Calibrating a sensor that reports lux: 30 lx under the cap are light, not a diode; a step of 1.84 lx is taken."""
    pairs = tuple(Pair("steady", 0, lux, 0.005, lux, 0.005) for lux in (500.0, 1000.0, 4000.0, 8000.0))
    made = Evidence(("all",), pairs, (Dark(0, 1.84, 0.5),), full_raw=1e5)

    nominal = default_calibration(Identity("a", "chip", "lux-lines"))
    calibrate_scale(made, nominal, reference="a meter", u_reference_rel=0.05)
    with pytest.raises(CalibrationError, match=r"30 lx under the cap: that is light"):
        calibrate_scale(made._replace(darks=(Dark(0, 30.0, 0.5),)), nominal, reference="a meter", u_reference_rel=0.05)


@pytest.mark.parametrize(("bits", "light", "dark"), [(0, 512.0, 1.84), (10, 0.3, 0.02)], ids=["chip", "converter"])
def test_calibrate_takes_no_light_for_the_dark(bits: int, light: float, dark: float) -> None:
    """The forgotten cap is said at its own step and not at the end of half an hour; with the cap on the step is done."""
    who = Identity("a", "chip", "lux-lines", adc_bits=bits)
    walk = ZeroWalk(who, default_calibration(who))
    unit = walk.calibration.ranges[0].full_scale_lx

    def take(raw: float) -> str:
        return str(walk.take(Measurement("steady", 0.0, "a", walk.calibration.id, illuminance_lx=raw * unit)))

    assert "that is light, not the dark" in take(light)
    assert walk.taken == []
    assert "4 more" in take(dark)


def test_what_the_board_tells_of_itself_is_shown_and_judged() -> None:
    """Temperature and supply by its reference have their lines; a reference that does not hold and a loop that was held up are
    faults."""
    walk = lux_sensor(0.0, 8000.0)
    sound = Status(0.0, temperature_c=31.4, supply_v=3.29)

    shown = [str(c.seen) for c in checks_of(walk, LinkCounts(9, status=sound))]
    assert shown[-2:] == ["3.29 V by the converter's reference", "31 °C in its chip"]
    assert faults_of(walk, LinkCounts(9, status=sound)) == ()
    assert [f.name for f in faults_of(walk, LinkCounts(9, status=sound._replace(supply_v=3.0)))] == ["reference does not hold"]
    slow = LinkCounts(9, status=sound._replace(overruns=4))
    assert [f.name for f in faults_of(walk, slow)] == ["board too slow"]
    assert [c.what for c in checks_of(walk, slow) if c.outcome == "fault"] == ["pace"]


def test_supply_and_battery_are_named() -> None:
    """A supply half a stop off and an empty battery are faults of their own."""
    walk = lux_sensor(0.0, 8000.0)

    assert [f.name for f in faults_of(walk, LinkCounts(10, 0, 0.5))] == ["supply"]
    assert [f.name for f in faults_of(walk, LinkCounts(10, 0, None, 0.05))] == ["battery low"]


def test_the_verb_names_the_fault_and_exits_with_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """On a terminal's input: the range that does not switch, as JSON; what is to be done goes to standard error."""
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n" * 9))
    asked = ["--library", str(tmp_path / "l.sqlite"), "sensor-test", "--json", "--sensor", "sim:?every=0.5&fault=range-stuck"]

    assert run_main(asked) == 1

    out, err = capsys.readouterr()
    answer = json.loads(out)
    assert [f["name"] for f in answer["faults"]] == ["range does not switch"]
    assert "a torch, range dim" in err


def test_a_port_that_says_nothing_is_told_what_that_means(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An empty recording in place of a board: not a byte comes, and the likely causes are said."""
    async def nothing(_self: SensorInUse) -> None:
        raise SensorError("nothing answers")

    monkeypatch.setattr(SensorInUse, "identified", nothing)
    assert run_main(["--library", str(tmp_path / "l.sqlite"), "sensor-test", "--sensor", "sim:?every=0"]) == 1

    err = capsys.readouterr().err
    assert "not a byte comes: likely the board has no program" in err
    assert len(err.strip().splitlines()) == 1
