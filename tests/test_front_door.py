"""The front door: what the README shows a programmer works as it stands."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

import meterlink
from tests.simulated_time import simulated_time

ROOT = Path(__file__).parents[1]


def test_the_readme_s_example_runs_as_it_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Library, set-up, metering from a simulated sensor, the table and the checks, by the very lines of the README."""
    example = re.search(r"```python\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL)
    assert example is not None
    monkeypatch.chdir(tmp_path)

    with simulated_time():
        exec(compile(example[1], "README.md", "exec"), {})

    printed = capsys.readouterr().out
    assert "KEY" in printed
    assert "FILL" in printed
    with meterlink.open("library.sqlite") as library:
        rows = library.setup("Low key").ratios().rows
    assert [row.light for row in rows] == ["KEY", "FILL"]
    assert all(row.corrected_f is not None for row in rows)


def test_leaving_the_loop_early_closes_the_sensor_and_keeps_what_was_logged(tmp_path: Path) -> None:
    """One pop of two was taken: it is in the library, and the same set can be metered again at once."""
    with meterlink.open(tmp_path / "l.sqlite") as library:
        setup = library.new_setup("Two")
        for name, role in (("KEY", "key"), ("FILL", "fill")):
            setup.add_light(name, role=role, source=meterlink.Disk(0.9), distance_m=1.5, azimuth_deg=30)
        with simulated_time():
            for taken in setup.meter("sim:", ["KEY@10cm", "FILL"]):
                assert (taken.kind, taken.light) == ("logged", "KEY")
                break
            again = [taken.light for taken in setup.meter("sim:", ["FILL@0cm"]) if taken.kind == "logged"]

        assert again == ["FILL"]
        assert [row.as_read_f is not None for row in setup.ratios().rows] == [True, True]


def test_a_pop_of_known_shape_is_read_without_a_library() -> None:
    """An exponential decay of 1/e time T has exposure peak x T, t0.5 = T ln 2, t0.1 = T ln 10 (calculus)."""
    interval, decay = 2e-6, 5e-4
    t = np.arange(0, 6e-3, interval)
    light = np.where(t >= 1e-3, 1e5 * np.exp(-(t - 1e-3) / decay), 0.0)

    pulse = meterlink.analyse_pop(light, interval)

    assert pulse.exposure_lxs == pytest.approx(1e5 * decay, rel=0.01)
    assert pulse.t05_s == pytest.approx(decay * np.log(2), rel=0.02)
    assert pulse.t01_s == pytest.approx(decay * np.log(10), rel=0.02)


def test_what_is_offered_is_listed() -> None:
    """``__all__`` names exactly what the front door has, sorted."""
    assert meterlink.__all__ == sorted(meterlink.__all__)
    assert all(hasattr(meterlink, name) for name in meterlink.__all__)
    assert not hasattr(meterlink, "there_is_no_such_name")
