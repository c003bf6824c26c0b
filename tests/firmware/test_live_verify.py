"""Whole walks of ``verify``: the real command line, the real firmware on the simulated chip, a pty between."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hand import RISE_US, SHORT_US, Hand

from hardware_notes.firmware.bench.simulated_chip import SimulatedChip, why_not
from meterlink.library.store import Library

pytestmark = [
    pytest.mark.skipif(why_not() is not None, reason=str(why_not())),
    pytest.mark.timeout(400),
]


def width_s(decay_s: float, rise_s: float) -> float:
    """How long a difference of two exponentials is above half of its peak, from its samples."""
    t = np.linspace(0, 20 * decay_s, 200_001)
    pulse = np.exp(-t / decay_s) - np.exp(-t / rise_s)
    above = t[pulse >= pulse.max() / 2]
    return float(above[-1] - above[0])


def test_verify_from_the_first_dark_to_a_passed_certificate(
    turned: SimulatedChip, hand: Callable[..., Hand], tmp_path: Path
) -> None:
    """Every step of the acceptance at a sound build: nothing fails, the certificate passes, is stored, shown and a page."""
    page = tmp_path / "cert.html"
    h = hand("verify", "--page", str(page))

    code = h.walk()

    assert code == 0, h.text()
    assert "verdict: passed" in h.text(), h.text()
    assert "FAIL" not in h.text()
    assert "bench dome" in page.read_text(encoding="utf-8")
    with Library.open(tmp_path / "l.sqlite") as library:
        record = library.calibrations(turned.sensor_id)[-1].details["certificate"]
    assert {row["outcome"] for row in record["rows"]} == {"pass"}
    figures = {row["name"]: row for row in record["rows"]}
    assert abs(figures["origin"]["figure"]) < 0.01
    assert figures["short"]["figure"] == pytest.approx(width_s(SHORT_US * 1e-6, RISE_US * 1e-6), rel=0.1)
    assert json.loads(json.dumps(record, allow_nan=False)) == record


def test_a_zero_that_is_not_lifted_is_named_at_a_terminal_and_a_reset_does_not_end_the_walk(
    turned: SimulatedChip, hand: Callable[..., Hand]
) -> None:
    """At a terminal the level is live; the reset button in mid-walk changes nothing; stopped with q, the cause is named."""
    turned.amplifier(offset=0.001)
    h = hand("verify", terminal=True)

    def at(step: str) -> bool:
        if step == "dark, range dim":
            turned.reset()
        if step == "light leaks":
            h.type("q")
        return step == "light leaks"

    h.on_step = at
    code = h.walk()

    assert code == 1, h.text()
    assert "of range bright" in h.text()
    assert "probable cause: zero not lifted" in h.text()
    assert "stopped before the end: shown, not stored" in h.text()
