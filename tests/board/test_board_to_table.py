"""Build (d), the whole way: flashes -> amplifier, converter, program -> pty -> command line -> table of ratios."""

from __future__ import annotations

import io
import json
import math
import subprocess
import sys
from pathlib import Path

import pytest
from board_bench import Board, Pulse, why_not

from meterlink.calibration import health
from meterlink.cli.main import main
from meterlink.library.store import Library
from tests.turning import metered, turning

pytestmark = [pytest.mark.skipif(why_not() is not None, reason=str(why_not())), pytest.mark.timeout(300)]
TRUTH_LXS = {"KEY": 300.0, "FILL": 90.0, "SIDE": 150.0}
CONSTANT = 330.0


def run(library: Path, *arguments: str) -> str:
    """Run the command line to its end and return what it printed."""
    command = [sys.executable, "-m", "meterlink", "--library", str(library), *arguments]
    result = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert result.returncode == 0, result.stderr
    return result.stdout


def meter(library: Path, board: Board) -> None:
    """Walk through the lights with the real command line, firing each when it is waited for."""
    names = [f"{name}@0mm" for name in TRUTH_LXS]
    command = [sys.executable, "-m", "meterlink", "--library", str(library), "meter", *names]
    command += ["--sensor", f"serial:{board.pty_path}"]

    def fire(name: str) -> None:
        unit = Pulse(0.06, 1.0, 30e-6, 600e-6)
        board.pop(unit._replace(peak_lx=TRUTH_LXS[name] / unit.exposure_lxs()))

    metered(command, fire)


def test_ratios_are_within_a_twentieth_of_a_stop(tmp_path: Path) -> None:
    """Three lights metered by the board's own program are within 0.05 stop of the truth, each and against the key."""
    path = tmp_path / "library.sqlite"
    with Library.open(path) as library:
        library.set_setting("min_gap_s", 0.02)
    run(path, "setup", "new", "set", "--iso", "100", "--shutter", "1/125")
    for name, role in (("KEY", "key"), ("FILL", "fill"), ("SIDE", "other")):
        where = ["--disk", "300mm", "--distance", "1500mm", "--azimuth", "0", "--elevation", "0"]
        run(path, "light", "add", name, "--role", role, *where)
    (tmp_path / "board").mkdir()
    with Board(tmp_path / "board", rate_khz=500) as board:
        board.ambient_lx = 40.0
        with turning(lambda: board.step(0.01)):
            meter(path, board)
    rows = {row["light"]: row for row in json.loads(run(path, "ratios", "--json"))}
    for name, true in TRUTH_LXS.items():
        row = rows[name]
        print(name, 2 * math.log2(row["corrected_f"] / math.sqrt(true * 100 / CONSTANT)), row["from_key_stops"])
        assert abs(2 * math.log2(row["corrected_f"] / math.sqrt(true * 100 / CONSTANT))) <= 0.05, row
        assert abs(row["from_key_stops"] - math.log2(true / TRUTH_LXS["KEY"])) <= 0.05, row


def test_an_open_diode_is_named_by_the_sensor_test(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The board's own bytes, and no light in them: dark and torch are the lifted zero, and the likely fault is the diode."""
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n" * 4))
    monkeypatch.setattr(health, "PATIENCE_S", 1.0)
    with Board(tmp_path, rate_khz=250) as board, turning(lambda: board.step(0.01)):
        asked = ["--library", str(tmp_path / "library.sqlite"), "sensor-test", "--sensor", f"serial:{board.pty_path}"]
        assert main(asked) == 1
    assert "likely: diode not connected" in capsys.readouterr().out
