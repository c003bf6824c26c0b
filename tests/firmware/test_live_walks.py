"""Whole walks of ``calibrate`` and ``verify``: the real command line, the real firmware on the simulated chip, a pty between."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from hand import RISE_US, SHORT_US, Hand

from meterlink.calibration.claim import stops_of
from meterlink.library.store import Library
from meterlink.simulation.chip import SimulatedChip, why_not

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


@pytest.fixture
def chip() -> Iterator[SimulatedChip]:
    """A chip in real time, in the dark, with the noise of a good build."""
    with SimulatedChip(paused=False) as started:
        started.amplifier(noise=0.001, seed=5)
        yield started


@pytest.fixture
def hand(chip: SimulatedChip, tmp_path: Path) -> Iterator[Callable[..., Hand]]:
    """Begin a verb at this chip; it is ended with the test."""
    begun: list[Hand] = []

    def begin(*arguments: str, terminal: bool = False) -> Hand:
        begun.append(Hand(chip, tmp_path / "l.sqlite", *arguments, terminal=terminal))
        return begun[-1]

    yield begin
    for one in begun:
        one.close()


def test_calibrate_from_the_first_dark_to_a_stored_scale(
    chip: SimulatedChip, hand: Callable[..., Hand], tmp_path: Path
) -> None:
    """Dark, overlap, pops on both ranges and a lamp, dome and reference in turns: the bench's gains within 2 %, a claim, residuals;
    a pop that was misread is named at the end and taken again alone, with its reference."""
    chip.amplifier(gain_error_0=0.06, gain_error_1=-0.04)
    h = hand("calibrate", "--reference", "bench", "--u-reference", "0.03")
    h.misread = {"reference at flash level 2, range dim": 1.5}

    code = h.walk()

    assert code == 0, h.text()
    refusals = [line for line in h.said if line.startswith("! ")]
    assert len(refusals) == 1
    assert "pair flash level 2, range dim lies" in refusals[0]
    assert len([line for line in h.said if "] flash level 2, range dim: " in line]) == 2
    assert len([line for line in h.said if "] reference at flash level 2, range dim: " in line]) == 2
    with Library.open(tmp_path / "l.sqlite") as library:
        made = library.calibrations(chip.sensor_id)[-1]
    bright, dim = made.ranges
    assert bright.full_scale_lx == pytest.approx(2e6 / 1.06, rel=0.02)
    assert dim.full_scale_lx == pytest.approx(2e5 / 0.96, rel=0.02)
    assert bright.full_scale_lx / dim.full_scale_lx == pytest.approx(10 * 0.96 / 1.06, rel=0.015)
    assert [r.dark_raw for r in made.ranges] == pytest.approx([0.02, 0.02], abs=0.0007)
    claim = made.details["claim"]
    assert claim["against"] == "truth"
    assert stops_of(claim, "flash") > 5
    assert stops_of(claim, "steady") > 7
    assert "f-numbers good to 0.1 stop in 99% of readings" in h.text()
    assert len([line for line in h.said if re.fullmatch(r"  (flash level|lamp) \d, range \w+ +[+-]0\.\d\d +.*\*.*", line)]) == 10


def test_verify_from_the_first_dark_to_a_passed_certificate(
    chip: SimulatedChip, hand: Callable[..., Hand], tmp_path: Path
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
        record = library.calibrations(chip.sensor_id)[-1].details["certificate"]
    assert {row["outcome"] for row in record["rows"]} == {"pass"}
    figures = {row["name"]: row for row in record["rows"]}
    assert abs(figures["origin"]["figure"]) < 0.01
    assert figures["short"]["figure"] == pytest.approx(width_s(SHORT_US * 1e-6, RISE_US * 1e-6), rel=0.1)
    assert json.loads(json.dumps(record, allow_nan=False)) == record


def test_a_zero_that_is_not_lifted_is_named_at_a_terminal_and_a_reset_does_not_end_the_walk(
    chip: SimulatedChip, hand: Callable[..., Hand]
) -> None:
    """At a terminal the level is live; the reset button in mid-walk changes nothing; stopped with q, the cause is named."""
    chip.amplifier(offset=0.001)
    h = hand("verify", terminal=True)

    def at(step: str) -> bool:
        if step == "dark, range dim":
            chip.reset()
        if step == "light leaks":
            h.type("q")
        return step == "light leaks"

    h.on_step = at
    code = h.walk()

    assert code == 1, h.text()
    assert "of range bright" in h.text()
    assert "probable cause: zero not lifted" in h.text()
    assert "stopped before the end: shown, not stored" in h.text()
