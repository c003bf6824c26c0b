"""The whole walk of ``calibrate``: the real command line, the real firmware on the simulated chip, a pty between."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hand import Hand

from benchmarks.calibration_figures import stops_of
from hardware_notes.firmware.bench.simulated_chip import SimulatedChip, why_not
from meterlink.library.store import Library

pytestmark = [
    pytest.mark.skipif(why_not() is not None, reason=str(why_not())),
    pytest.mark.timeout(400),
]


def test_calibrate_from_the_first_dark_to_a_stored_scale(
    turned: SimulatedChip, hand: Callable[..., Hand], tmp_path: Path
) -> None:
    """Dark, overlap, pops on both ranges and a lamp, dome and reference in turns: the bench's gains within 2 %, a claim, residuals;
    a pop that was misread is named at the end and taken again alone, with its reference."""
    turned.amplifier(gain_error_0=0.06, gain_error_1=-0.04)
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
        made = library.calibrations(turned.sensor_id)[-1]
    bright, dim = made.ranges
    assert bright.full_scale_lx == pytest.approx(2e6 / 1.06, rel=0.02)
    assert dim.full_scale_lx == pytest.approx(2e5 / 0.96, rel=0.02)
    assert bright.full_scale_lx / dim.full_scale_lx == pytest.approx(10 * 0.96 / 1.06, rel=0.015)
    assert [r.dark_raw for r in made.ranges] == pytest.approx([0.02, 0.02], abs=0.0007)
    claim = made.details["claim"]
    assert claim["against"] == "truth"
    assert stops_of(claim, "flash") > 5
    assert stops_of(claim, "steady") > 7
    assert "f-numbers good to 0.1 stop in 99 % of readings" in h.text()
    assert len([line for line in h.said if re.fullmatch(r"  (flash level|lamp) \d, range \w+ +[+-]0\.\d\d +.*\*.*", line)]) == 10
