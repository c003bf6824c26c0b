"""Calibrate and verify at a terminal: scripted lines, simulated sensors, the real verbs on the simulated link."""

from __future__ import annotations

import asyncio
import io
import json
import re
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from benchmarks.calibration_walks import Photographer
from benchmarks.calibration_world import Build, Reference, SimulatedSensor
from meterlink.calibration.procedure import TYPED, Procedure, Task, kind_of
from meterlink.calibration.scale_walk import ScaleWalk
from meterlink.cli import tasks
from meterlink.cli.calibrate import _procedure
from meterlink.cli.keys import Lines
from meterlink.cli.main import build_parser
from meterlink.errors import CalibrationError, SensorError, UnitError, UsageError
from meterlink.library.store import Library
from meterlink.metering import calibrating
from meterlink.photometry import card
from meterlink.photometry.exposure import f_number
from meterlink.records import Measurement
from meterlink.sensor.measuring.calibrate import default_calibration
from meterlink.simulation.chip_model import ChipModel
from meterlink.simulation.sensor import SimulatedLink
from meterlink.simulation.studio import Pulse
from meterlink.units import format_f_number, parse_distance, parse_f_number
from meterlink.words.language import use
from meterlink.words.told import told
from tests.simulated_time import run_main

SIM_PULSE_S = 1.0 / Pulse(1.0, fall_s=0.4e-3).peak_lx
"""Exposure over peak of the simulated sensor's flash."""
SOUND = Build(gain=(0.9, 0.93), dark=(0.02, 0.02), bend=(0.0, 0.0), noise=0.0015, side=(-0.1, 0.02))


class Script(Lines):
    """Lines that a test types; what follows the last one is a q."""

    def __init__(self, lines: list[str]) -> None:
        self.lines = lines
        self.interactive = False

    async def next(self) -> str:
        """Return the next line."""
        return self.lines.pop(0) if self.lines else "q"


class Desk(Photographer):
    """A photographer's lamps as a station; tells what the reference would read."""

    def __init__(self) -> None:
        rng = np.random.default_rng(2)
        super().__init__(SimulatedSensor(SOUND, rng), rng, Reference(0.0))

    def level(self, task: Task) -> float:
        """A little brighter than the benchmark's, so that the first of each row fills its range."""
        return super().level(task) * 1.15

    async def prepare(self, task: Task) -> None:
        """Nothing to switch."""

    def forget_pops(self) -> None:
        """None are kept."""

    async def measure(self, task: Task) -> Measurement:
        """One measurement of the task's light, which a script may have typed the reference of."""
        return self.shine(task, self.level(task))

    def typed(self, task: Task) -> str:
        """What someone types for a step."""
        return f"{self.read(task):.5g} {'lx' if kind_of(task) == 'steady' else 'lxs'}" if task.kind == TYPED else ""


class At(Script):
    """Someone who types what the present step of a walk wants, ``most`` times."""

    def __init__(self, desk: Desk, walk: Procedure, most: int = 1000) -> None:
        super().__init__([])
        self.desk, self.walk, self.left = desk, walk, most

    async def next(self) -> str:
        """Return what the step wants; q at the end of the patience."""
        self.left -= 1
        return self.desk.typed(self.walk.task) if self.left >= 0 and self.walk.task else "q"


def walk_with(desk: Desk, walk: Procedure, lines: Script) -> tuple[bool, list[str]]:
    """Drive a walk with what is typed."""
    said: list[str] = []
    desk.sensor.calibration = walk.calibration
    value = tasks.reference_value(walk.calibration.constant, 100.0, 1 / 128)
    done = asyncio.run(calibrating.walk_through(walk, desk, lines, said.append, value))
    return done, said


def test_scale_walk_at_the_terminal_ends_with_a_calibration() -> None:
    """Enter for steady light, the reference typed for pairs, pops by themselves: a calibration within 3 %."""
    desk = Desk()
    walk = ScaleWalk(desk.sensor.identity, desk.sensor.calibration)

    done, said = walk_with(desk, walk, At(desk, walk))

    assert done
    made = walk.result(reference="x", u_reference_rel=0.02, u_reference_reading_rel=0.022).calibration
    assert made.ranges[1].full_scale_lx == pytest.approx(2e5 / 0.93, rel=0.03)
    assert any("caution" in s for s in said)
    assert any("type what it reads" in s for s in said)
    assert any(s.startswith("  caution: A bright lamp is hot") for s in said)


def test_back_out_and_stop(monkeypatch: pytest.MonkeyPatch) -> None:
    """``u`` takes back, ``s`` on a needed step says no, nonsense is said and asked again, ``q`` stops."""
    desk = Desk()
    walk = ScaleWalk(desk.sensor.identity, desk.sensor.calibration)

    done, said = walk_with(desk, walk, Script(["", "u", "s", "", "q"]))

    assert not done
    assert [t.task.name for t in walk.taken] == ["dark-0"]
    assert any("taken back" in s for s in said)
    assert any("cannot be left out" in s for s in said)


class Silent(Desk):
    """A desk whose steady light fails once."""

    def __init__(self) -> None:
        super().__init__()
        self.failures = 1

    async def measure(self, task: Task) -> Measurement:
        """The first steady light does not come."""
        if self.failures and task.kind == "steady":
            self.failures -= 1
            raise SensorError("no steady light comes on this range: check the sensor, then take this step again")
        return await super().measure(task)


def test_a_silence_costs_nothing() -> None:
    """Light that does not come is said and the step asked again."""
    desk = Silent()
    walk = Procedure(desk.sensor.identity, desk.sensor.calibration, [
        Task("probe-steady-1-0", "lamp", "Do.", "steady", 1, 1, level=0.5)
    ])

    done, said = walk_with(desk, walk, Script(["", ""]))

    assert done
    assert len([s for s in said if s.startswith("! no steady light")]) == 1
    assert len([s for s in said if "lamp: Do." in s]) == 2


def test_another_distance_may_be_typed_at_its_step() -> None:
    """A settable step takes what is typed in place of its own value; nonsense and steps that have none are said."""
    desk = Desk()
    plain = Task("torch", "torch", "Light it.", "steady", 1, 1)
    bulb = Task("distance-1", "bare bulb at 1 m", "Light it.", "steady", 1, 0, value=1.0, settable=True)
    walk = Procedure(desk.sensor.identity, desk.sensor.calibration, [plain, bulb])
    said: list[str] = []
    lines = ["loud", "", "far", "1.1m", ""]

    done = asyncio.run(calibrating.walk_through(walk, desk, Script(lines), said.append, lambda text, _: parse_distance(text)))

    assert done
    assert [t.value for t in walk.taken] == [None, 1.1]
    assert f"! {told('keys')}" in said
    assert len([s for s in said if s.startswith("! ")]) == 2


def test_reference_is_read_in_its_own_words() -> None:
    """f-numbers are nominal indices, lux and lux-seconds plain; the wrong one and nonsense are refused in words."""
    value = tasks.reference_value(330.0, 100.0, 1 / 128)
    steady, flash = Task("pair-steady-0-0", "", "", "steady"), Task("pair-flash-0-0", "", "", "flash")

    assert value("f/8", flash) == pytest.approx(64 * 3.3)
    assert value("f/11", flash) == pytest.approx(128 * 3.3)
    assert value("f/8", steady) == pytest.approx(64 * 3.3 * 128)
    assert value("1,200 lx", steady) == 1200.0
    assert value("160 lx·s", flash) == 160.0
    with pytest.raises(UsageError, match="lux-seconds"):
        value("1200 lx", flash)
    with pytest.raises(UsageError, match="no number"):
        value("many lx", steady)
    with pytest.raises(CalibrationError, match="greater than 0"):
        value("0 lx", steady)
    with pytest.raises(UnitError):
        value("bright", flash)


def test_zero_of_the_simulated_sensor_is_stored(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """``calibrate zero`` on ``sim:`` stores a new calibration of that sensor, in force from then on."""
    file = str(tmp_path / "l.sqlite")
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n" * 12))

    assert run_main(["--library", file, "calibrate", "zero", "--sensor", "sim:?every=0", "--json"]) == 0

    text = capsys.readouterr().out
    record = json.loads(text)  # the answer alone: prompts go to standard error
    with Library.open(file) as library:
        stored = library.calibrations(record["sensor_id"])
    assert stored[-1].id == record["id"]
    assert 0.015 < stored[-1].ranges[0].dark_raw < 0.03
    assert run_main(["--library", file, "calibrate", "--list"]) == 0
    assert "in force" in capsys.readouterr().out


def test_the_simulated_sensor_passes_its_acceptance(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Who tries the walk without hardware is shown a sound sensor: lit, turned and brought nearer as each step asks."""
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n" * 400))

    code = run_main(["--library", str(tmp_path / "l.sqlite"), "verify", "--sensor", "sim:?every=0.8"])

    out = capsys.readouterr().out
    assert "verdict: passed" in out, out[-2500:]
    assert code == 0


def test_verify_that_is_stopped_shows_and_stores_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Stopping after two steps prints what is known, stores no certificate, and ``--show`` says that there is none."""
    file, page = str(tmp_path / "l.sqlite"), tmp_path / "c.html"
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n\nq\n"))

    run_main(["--library", file, "verify", "--sensor", "sim:?every=0", "--page", str(page)])

    out = capsys.readouterr().out
    assert "stopped before the end" in out
    assert "left out" in out
    assert "<table>" in page.read_text(encoding="utf-8")
    assert run_main(["--library", file, "verify", "--show"]) == 2
    assert "no sensor of this library has been verified" in capsys.readouterr().err


def test_wrong_use_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No file, an unreadable one, a scale without a reference: one line, exit code 2."""
    file = str(tmp_path / "l.sqlite")
    for arguments in (
        ["calibrate", "spectral"],
        ["calibrate", "spectral", str(tmp_path / "none.csv")],
        ["calibrate", "--sensor", "sim:?every=0"],
        ["calibrate", "--sensor", "sim:?every=0", "--guide-number", "40m"],
    ):
        assert run_main(["--library", file, *arguments]) == 2
        err = capsys.readouterr().err
        assert err.startswith("meterlink: ")
        assert err.count("\n") <= 3


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("--relative --reference x", "--relative and --reference are two ways to a scale: give one of them"),
        ("--relative --guide-number 40m --distance 3m 5m", "--relative and --guide-number are two ways"),
        ("--camera --guide-number 40m --distance 3m 5m", "--guide-number and --camera are two ways"),
        ("zero --reference x", "calibrate zero has no use for --reference: leave it out"),
        ("angle --relative", "calibrate angle has no use for --relative"),
        ("ranger --guide-number 40m", "calibrate ranger has no use for --guide-number"),
    ],
)
def test_an_option_that_would_be_ignored_is_refused(
    typed: str, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Half an hour later is too late to learn that the reference named was not used."""
    file = ["--library", str(tmp_path / "l.sqlite")]

    assert run_main([*file, "calibrate", *typed.split(), "--sensor", "sim:?every=0"]) == 2

    assert capsys.readouterr().err.startswith(f"meterlink: {says}")


def test_a_range_may_be_typed_as_it_is_shown_or_as_it_is_on_the_wire() -> None:
    """In German the names are German; one that there is not is refused with those that there are."""
    identity, start = ChipModel().identity, ["--guide-number", "40m", "--distance", "1m", "2m", "--range"]
    use("de")

    def walk(name: str) -> Procedure:
        return _procedure(build_parser("calibrate").parse_args([*start, name]), identity, default_calibration(identity))

    assert [{task.range_index for task in walk(name)._pair_tasks()} for name in ("dim", "schwach")] == [{1}, {1}]
    with pytest.raises(UsageError, match=r"blau.*hell, schwach"):
        walk("blau")


def test_spectral_error_of_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A diode that sees like the eye has f1′ near 0 and no error; the table names the lamps."""
    from meterlink.photometry.spectral import GRID_NM, V_LAMBDA

    csv = tmp_path / "d.csv"
    csv.write_text("nm,eye\n" + "".join(f"{w:g},{v}\n" for w, v in zip(GRID_NM, V_LAMBDA, strict=True)))

    assert run_main(["calibrate", "spectral", str(csv), "--json"]) == 0

    found = json.loads(capsys.readouterr().out)
    assert found["eye"]["f1_prime"] == pytest.approx(0, abs=1e-9)
    assert {round(lamp["error_stops"], 9) for lamp in found["eye"]["lamps"]} == {0.0}


@pytest.mark.parametrize(
    ("walk", "close"),
    [
        (("zero",), 1e-9),
        (("angle",), 1e-9),
        (("--relative",), 0.05),
        (("--reference", "a meter", "--u-reference", "0.05"), 0.03),
        (("--guide-number", "40m", "--distance", "3m", "5m", "--range", "bright"), 0.03),
    ],
    ids=lambda value: value[0] if isinstance(value, tuple) else "",
)
def test_every_walk_ends_at_the_simulated_sensor(
    walk: tuple[str, ...], close: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """With Enter alone, as its help names them: it shines as each step asks, with a reference beside it, and is found as it is."""
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n" * 60))
    file = str(tmp_path / "l.sqlite")

    assert run_main(["--library", file, "calibrate", *walk, "--sensor", "sim:?every=0.05"]) == 0

    shown = capsys.readouterr().out
    assert re.search("^bright +2,", shown, re.MULTILINE), "its ranges go by their names"
    with Library.open(file) as library:
        made = library.calibrations("51b0a7e000000001")[-1]
    assert [r.full_scale_lx for r in made.ranges] == pytest.approx([2e6, 2e5], rel=close)
    if walk[0] == "angle":
        # Its dome is ideal: (1 + cos)/2, half a stop and less at a right angle is no error.
        assert made.details["angle"]["error_index"] < 0.02


@pytest.mark.parametrize(
    ("typed", "code", "says"),
    [
        ("3m 4m\n", 0, "  flash at 4 m "),
        ("\n4m\n3m 4m\n", 0, "the flash stood at 2 distances: type each, in their order"),
        ("q\n", 1, "stopped at 18 of 18: kept"),
        ("\n", 1, "stopped at 18 of 18: kept"),
    ],
)
def test_a_known_flash_whose_distance_was_typed_wrongly_ends(
    typed: str, code: int, says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It stood at 4 m, 5 was typed: the distances are typed anew and no pop is fired again, or it is stopped; it never asked on."""
    pose = SimulatedLink.pose

    def nearer(link: SimulatedLink, step: str, kind: str, part: Any, at: Any, value: Any = None, light: Any = None) -> None:
        pose(link, step, kind, part, at, value, light * (5 / 4) ** 2 if light and value == 5.0 else light)

    monkeypatch.setattr(SimulatedLink, "pose", nearer)
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n\n" + typed))
    file, asked = str(tmp_path / "l.sqlite"), ["--guide-number", "40m", "--distance", "3m", "5m", "--range", "bright"]

    assert run_main(["--library", file, "calibrate", *asked, "--sensor", "sim:?every=0.05"]) == code

    shown = capsys.readouterr().out
    assert re.search(r"! range bright: flash at [35] m lies 0\.3\d stop (above|below) the others", shown)
    assert says in shown
    with Library.open(file) as library:
        found = library.calibrations("51b0a7e000000001")
    scales = [r.full_scale_lx for r in found[-1].ranges] if code == 0 else [2e6, 2e5]
    assert scales == pytest.approx([2e6, 2e5], rel=0.03)
    assert code == 0 or all(one.method != "guide number" for one in found)


def test_a_simulated_light_of_before_is_not_made_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A walk that was stopped after its pops goes on elsewhere: Enter alone is refused in a line, as it has no reading."""
    asked = ["--library", str(tmp_path / "l.sqlite"), "calibrate", "--reference", "a meter", "--sensor", "sim:?every=0.05"]
    for typed, said in (("\n\nq\n", "stopped at 22"), ("\nq\n", "begin again with --anew")):
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        assert run_main(asked) == 1
        assert said in capsys.readouterr().out


def flashes(steps: tuple[float, ...] = (3, 2, 1, 0)) -> list[float]:
    """What the reference has to read at each level, from the last to the first, in lx·s; steps below the brightest."""
    return [0.75 * 2.0 ** -(0.725 * n) * full * SIM_PULSE_S for full in (2e5, 2e6) for n in steps]


def frame_of(exposure_lxs: float) -> str:
    """An aperture a third of a stop too wide, and the level at which a grey card then comes out."""
    right = f_number(exposure_lxs, 100.0, 330.0)
    typed = format_f_number(right * 2 ** (-1 / 6))
    return f"{typed} {card.level(0.18 * (right / parse_f_number(typed)) ** 2):.0f}"


def test_the_simulated_sensor_is_calibrated_with_a_camera(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The real verb: one frame a level, aperture and the card's level typed; full scales within 4 %, labelled for this camera."""
    frames = [frame_of(lxs) for lxs in flashes()], [frame_of(lxs) for lxs in flashes((2.5, 1.5, 0.5))]
    typed = ["", "", *frames[0], "s", *frames[1]]
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n".join(typed) + "\n"))
    file = str(tmp_path / "l.sqlite")

    assert run_main(["--library", file, "calibrate", "--camera", "--reference", "my camera", "--sensor", "sim:?every=0.05"]) == 0

    out = capsys.readouterr().out
    assert "right for this camera: f-numbers good against it to 0.1 stop" in out
    assert "with another camera or lens f-numbers may be 0.4 stop off (k=2)" in out
    with Library.open(file) as library:
        made = library.calibrations("51b0a7e000000001")[-1]
    assert (made.method, made.reference) == ("camera", "my camera")
    assert [r.full_scale_lx for r in made.ranges] == pytest.approx([2e6, 2e5], rel=0.04)


def test_the_simulated_sensor_is_calibrated_with_a_room_lamp_of_500_lx_and_one_flash(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The real verb from prompt to record: Enter for the darks, pops by themselves, what the reference reads of each typed; the
    lamp is told to weigh nothing, the full scales are found within 4 %, and the claim says what it assumes."""
    typed = ["", "", *(f"{exposure:.4g} lxs" for exposure in flashes()), "500 lx"]
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n".join(typed) + "\n"))
    file = str(tmp_path / "l.sqlite")
    asked = ["--library", file, "calibrate", "--reference", "a meter", "--u-reference", "0.03", "--sensor", "sim:?every=0.05"]

    assert run_main(asked) == 0

    out = capsys.readouterr().out
    with Library.open(file) as library:
        made = library.calibrations("51b0a7e000000001")[-1]
    assert [r.full_scale_lx for r in made.ranges] == pytest.approx([2e6, 2e5], rel=0.04)
    assert "weighs nothing, so the lamp is left out" in out
    assert "no steady lamp was weighed, so none is claimed" in out
