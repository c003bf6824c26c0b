"""The simulated set honours the distances of a falloff walk."""

from __future__ import annotations

import json
import re
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


def test_each_pop_is_said_with_its_distance(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Not with the name of a point (*at the falloff 1.3, 0.0 stop against the face*): the light was moved, the dome was not."""
    library = ("--library", str(tmp_path / "l.sqlite"))
    run_main([*library, "setup", "new", "X"])
    run_main([*library, "light", "add", "KEY", "octa 90", "1.3m", "40", "30", "1/4"])
    run_main([*library, "meter", "KEY", "--sensor", "sim:"])
    capsys.readouterr()
    run_main([*library, "falloff", "KEY", "--at", "0.8m", "1.3m", "1.8m", "--sensor", "sim:"])
    out = capsys.readouterr().out

    assert re.findall(r"^  KEY f/\S+(?: \+0\.\d)? at (.*)$", out, re.MULTILINE) == ["80 cm", "1.30 m", "1.80 m"]
    assert "falloff" not in out
