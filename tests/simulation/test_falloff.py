"""The simulated set honours the distances of a falloff walk."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from meterlink.cli.main import main


def test_a_disk_is_found_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A 90 cm disk, cut into patches by the simulated studio, is fitted as one of about its radius; its place stays."""
    library = ("--library", str(tmp_path / "library.sqlite"))
    assert main([*library, "setup", "new", "Falloff"]) == 0
    assert main([*library, "light", "add", "KEY", "octa", "1.2m", "40", "--disk", "90cm", "--power", "1/4"]) == 0
    assert main([*library, "falloff", "KEY", "--at", "0.7m", "1.2m", "2m", "--sensor", "sim:?every=0.8"]) == 0
    capsys.readouterr()
    assert main([*library, "falloff", "KEY", "--json"]) == 0

    fit = json.loads(capsys.readouterr().out)

    assert fit["law"] == "disk"
    assert abs(fit["parameter_m"] - 0.45) < 3 * fit["u_parameter_m"]
    assert fit["u_parameter_m"] < 0.1
    assert main([*library, "light", "list", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)[0]["placement"]["distance_m"] == 1.2
