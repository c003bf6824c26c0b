"""A walk that is stopped is kept, and the same command goes on with it."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from benchmarks.calibration_walks import Photographer
from benchmarks.calibration_world import Build, Reference, SimulatedSensor
from meterlink.calibration.kept_walk import KEEPS_S, as_data, go_on
from meterlink.calibration.procedure import TYPED
from meterlink.calibration.scale_walk import ScaleWalk
from meterlink.library.store import Library
from meterlink.metering import calibrating
from tests.simulated_time import run_main

SOUND = Build(gain=(0.9, 0.93), dark=(0.02, 0.02), bend=(0.0, 0.0), noise=0.001, side=(0.0, 0.0))


class Until(Photographer):
    """Does so many steps, then stops."""

    left = 0

    def level(self, task: Any) -> float:
        """Stop when the patience is over."""
        self._tick()
        return super().level(task)

    def read(self, task: Any) -> float:
        """Stop when the patience is over."""
        self._tick()
        return super().read(task)

    def _tick(self) -> None:
        self.left -= 1
        if self.left < 0:
            raise KeyboardInterrupt


def stopped(steps: int, **light: float) -> tuple[SimulatedSensor, Until, ScaleWalk]:
    """A walk that was stopped after so many steps."""
    rng = np.random.default_rng(3)
    sensor = SimulatedSensor(SOUND, rng)
    person, walk = Until(sensor, rng, Reference(0.0)), ScaleWalk(sensor.identity, sensor.calibration)
    person.left = steps
    for name, value in light.items():
        setattr(person, name, value)
    with pytest.raises(KeyboardInterrupt):
        person.walk(walk)
    return sensor, person, walk


def again(walk: ScaleWalk) -> ScaleWalk:
    """The same walk, just begun."""
    return ScaleWalk(walk.identity, walk.previous)


@pytest.mark.parametrize(
    ("steps", "light"),
    [(steps, {}) for steps in (1, 5, 15, 20, 24, 28, 31, 33)]
    + [(steps, {"brightest_lx": 3e5, "lamp_lx": 15e3}) for steps in (15, 16, 27)]
    + [(steps, {"lamp_lx": 500.0}) for steps in (15, 26)],
)
def test_a_walk_goes_on_where_it_was(steps: int, light: dict[str, float]) -> None:
    """Whatever was taken, typed or left out: through JSON and back the next step is the same, and the end a calibration."""
    _, person, walk = stopped(steps, **light)
    new = again(walk)

    count = go_on(new, json.loads(json.dumps(as_data(walk, 1000.0))), 2000.0)

    assert count == len(walk.taken)
    assert [(t.task.name, t.value) for t in new.taken] == [(t.task.name, t.value) for t in walk.taken]
    assert new.task is not None
    assert walk.task is not None
    assert new.task.name == walk.task.name
    person.left = 10**6
    person.walk(new)
    made = new.result(reference="x", u_reference_rel=0.02).calibration
    assert made.ranges[1].full_scale_lx == pytest.approx(2e5 / 0.93, rel=0.04)


def test_what_is_old_or_of_another_calibration_is_not_gone_on_with() -> None:
    """After a week, from the future, made against another calibration: nothing is taken over."""
    _, _, walk = stopped(12)
    kept = as_data(walk, 1000.0)

    assert go_on(again(walk), kept, 1000.0 + KEEPS_S + 1) == 0
    assert go_on(again(walk), kept, 0.0) == 0
    assert go_on(again(walk), kept | {"calibration_id": "bare-other"}, 2000.0) == 0


@pytest.mark.parametrize(
    "kept",
    [None, 5, "x", [], {}, {"taken": 3}, {"taken": [3]}, {"taken": [{}]}, {"taken": [{"task": "dark-0", "value": "x"}]},
     {"taken": [{"task": "dark-0", "value": None, "measurement": 5}]},
     {"taken": [{"task": "dark-0", "value": None, "measurement": {}}]}, {"taken": [], "skipped": [1, None]}],
)  # fmt: skip
def test_nonsense_is_not_believed(kept: Any) -> None:
    """What was kept may have been written by anybody: no step is taken over and nothing fails."""
    _, _, walk = stopped(1)
    if isinstance(kept, dict):
        kept = {"at_s": 1000.0, "calibration_id": walk.calibration.id, **kept}

    assert go_on(again(walk), kept, 2000.0) == 0


def test_a_step_that_no_longer_fits_ends_the_taking_over() -> None:
    """A row changed to another step, or to a number that is none: what stands before it is taken over, nothing after it."""
    _, _, walk = stopped(20)
    for change in ({"task": "dark-9"}, {"value": float("nan")}, {"measurement": {"kind": [1]}}):
        kept = as_data(walk, 1000.0)
        kept["taken"][4] = {**kept["taken"][4], **change}
        assert go_on(again(walk), kept, 2000.0) == 4


def test_the_command_goes_on_and_forgets_when_it_is_done(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """``calibrate zero`` stopped after three steps goes on with the fourth; done, nothing is kept; --anew begins again."""
    monkeypatch.setattr(calibrating, "STEADY_S", 0.1)
    command = ["--library", str(tmp_path / "l.sqlite"), "calibrate", "zero", "--sensor", "sim:?every=0"]

    def run(lines: str, *more: str) -> str:
        monkeypatch.setattr(sys, "stdin", io.StringIO(lines))
        run_main([*command, *more])
        return capsys.readouterr().out

    assert "stopped at 3 of 10: kept" in run("\n\n\nq\n")
    assert "going on" not in run("\nq\n", "--anew")
    assert "going on with the walk that was stopped, 1 steps are done" in run("\n" * 12)
    assert "going on" not in run("q\n")
    with Library.open(tmp_path / "l.sqlite") as library:
        assert library.calibrations("51b0a7e000000001")[-1].details["zero_of"]


def test_typed_steps_are_kept_too() -> None:
    """The reference's readings come back as they were typed."""
    _, _, walk = stopped(28)
    new = again(walk)
    go_on(new, as_data(walk, 1000.0), 1001.0)

    typed = [t.value for t in new.taken if t.task.kind == TYPED]
    assert typed
    assert typed == [t.value for t in walk.taken if t.task.kind == TYPED]
