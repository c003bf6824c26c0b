"""Two minutes of the soak that ``python -m benchmarks.soak`` runs for longer."""

from __future__ import annotations

import pytest

from benchmarks import soak


@pytest.mark.parametrize("seed", [11, 12])
def test_two_minutes_on_set_lose_and_invent_nothing(seed: int, capsys: pytest.CaptureFixture[str]) -> None:
    """With a fault every few seconds every accepted reading is in the library, none twice, none invented."""
    assert soak.main(["--minutes", "2", "--seed", str(seed), "--limit", "90"]) == 0
    assert "pops fired" in capsys.readouterr().out
