"""A simulated sensor that sees colour reads what stands on the set, gels and all."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

from tests.simulated_time import run_main

Read = Callable[[], dict[str, float]]


@pytest.fixture
def read(tmp_path: pytest.TempPathFactory, capsys: pytest.CaptureFixture[str]) -> Read:
    """Meter a key without and a fill with half CTO; return each light's colour in mired."""
    library = ("--library", f"{tmp_path}/library.sqlite")

    def run(*words: str) -> str:
        capsys.readouterr()
        assert run_main([*library, *words]) == 0
        return capsys.readouterr().out

    def colours() -> dict[str, float]:
        run("setup", "new", "Gels")
        run("light", "add", "KEY", "1.2m", "40", "30", "1/4")
        run("light", "add", "FILL", "1.4m", "-40", "0", "1/4", "--gel", "half CTO")
        run("meter", "--all", "--sensor", "sim:?every=0.8&colour=yes")
        return {row["light"]: row["mired"] for row in json.loads(run("colour", "--json"))}

    return colours


def test_a_gel_shows_by_its_shift(read: Read) -> None:
    """Half of a full CTO's 159 mired (from memory); 16 bits of x and y blur it by less than a mired."""
    mired = read()

    assert mired["FILL"] - mired["KEY"] == pytest.approx(79.5, abs=1.5)
    assert mired["KEY"] == pytest.approx(1e6 / 5600, abs=4)
