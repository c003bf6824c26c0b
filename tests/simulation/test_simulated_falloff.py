"""The simulated set honours the distances of a falloff walk."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.simulated_time import run_main


def test_a_disk_is_found_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A 90 cm disk, cut into patches by the simulated studio, is fitted as one of about its radius; its place stays."""
    library = ("--library", str(tmp_path / "library.sqlite"))
    assert run_main([*library, "setup", "new", "Falloff"]) == 0
    assert run_main([*library, "light", "add", "KEY", "octa", "1.2m", "40", "--disk", "90cm", "--power", "1/4"]) == 0
    assert run_main([*library, "falloff", "KEY", "--at", "0.7m", "1.2m", "2m", "--sensor", "sim:?every=0.8"]) == 0
    capsys.readouterr()
    assert run_main([*library, "falloff", "KEY", "--json"]) == 0

    fit = json.loads(capsys.readouterr().out)

    assert fit["law"] == "disk"
    assert abs(fit["parameter_m"] - 0.45) < 3 * fit["u_parameter_m"]
    assert fit["u_parameter_m"] < 0.1
    assert run_main([*library, "light", "list", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)[0]["placement"]["distance_m"] == 1.2


def test_the_sensor_is_opened_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Who the sensor is and which calibration is used is said once, and each distance is asked for before its pop."""
    library = ("--library", str(tmp_path / "library.sqlite"))
    assert run_main([*library, "setup", "new", "Falloff"]) == 0
    assert run_main([*library, "light", "add", "KEY", "octa", "1.2m", "40", "--disk", "90cm", "--power", "1/4"]) == 0
    capsys.readouterr()
    assert run_main([*library, "falloff", "KEY", "--at", "0.7m", "1.2m", "2m", "--sensor", "sim:?every=0.8"]) == 0

    said = [line.strip() for line in capsys.readouterr().out.splitlines()]

    assert len([line for line in said if "is connected" in line]) == 1
    assert len([line for line in said if line.startswith("calibration:")]) == 1
    asked = [line for line in said if line.startswith(("put KEY at", "waiting for KEY at"))]
    assert [line.split(":")[0].split(" from ")[0].split(" at ")[1] for line in asked] == [
        "70 cm", "70 cm", "1.20 m", "1.20 m", "2.00 m", "2.00 m"
    ]
