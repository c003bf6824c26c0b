"""The demo never takes a photographer's place: not her library, not the set-up that she is working on."""

from __future__ import annotations

import shlex
from collections.abc import Callable
from pathlib import Path

import platformdirs
import pytest

from meterlink.cli.main import main
from meterlink.library import Library


def goes_on(out: str) -> list[str]:
    """The commands that the demo's last lines name."""
    return [line.strip() for line in out.partition("Go on with:\n")[2].splitlines()]


def test_a_demo_that_nobody_named_a_library_for_has_its_own(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without --library and METERLINK_LIBRARY: the own library stays untouched, the demo says where it lives, its commands work."""
    home = tmp_path / "my data"
    monkeypatch.delenv("METERLINK_LIBRARY", raising=False)
    monkeypatch.setattr(platformdirs, "user_data_path", lambda *a, **k: home)
    monkeypatch.chdir(tmp_path)
    main(["setup", "new", "Mine"])
    main(["light", "add", "KEY", "--role", "key", "--disk", "90cm", "--distance", "1.2m"])
    before = (home / "library.sqlite").read_bytes()
    capsys.readouterr()
    for _ in range(2):
        assert main(["demo"]) == 0
    out = capsys.readouterr().out
    assert (home / "library.sqlite").read_bytes() == before
    assert f"library of its own: {home / 'demo.sqlite'}" in out
    commands = goes_on(out.rpartition("SIMULATED")[2])
    assert len(commands) == 4
    for command in commands:
        assert main(shlex.split(command)[1:]) == 0
    with Library.open() as mine, Library.open(home / "demo.sqlite") as demo:
        assert mine.current_setup().name == "Mine"
        assert mine.readings(mine.current_setup().id) == []
        assert demo.current_setup().name == "Potter at the wheel 2"


def test_in_a_named_library_the_set_in_use_stays(ml: Callable[..., object], tmp_path: Path) -> None:
    """METERLINK_LIBRARY with a set-up in use: the demo comes beside it and its commands name it; an empty one uses the demo."""
    ml("setup", "new", "Mine")
    ml("light", "add", "KEY", "--role", "key", "--disk", "90cm", "--distance", "1.2m")
    out = ml("demo").out  # type: ignore[attr-defined]
    assert "Mine stays the set-up in use" in out
    with Library.open() as library:
        assert library.current_setup().name == "Mine"
        assert library.readings(library.current_setup().id) == []
    for command in goes_on(out)[:3]:
        assert ml(*shlex.split(command)[1:]).code == 0  # type: ignore[attr-defined]
    other = str(tmp_path / "other.sqlite")
    out = ml("--library", other, "demo").out  # type: ignore[attr-defined]
    assert "stays the set-up in use" not in out
    with Library.open(other) as library:
        assert library.current_setup().name == "Potter at the wheel"
