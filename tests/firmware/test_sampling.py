"""The hand-written paths of the sampling interrupt against the C core, on what a run of the chip converted."""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("cobs.cobs")
from chip_reader import Line, of

from hardware_notes.firmware.bench.simulated_chip import SimulatedChip

FIRMWARE = Path(__file__).parents[2] / "hardware_notes" / "firmware"


def _replay(codes: Path, shift: int, first: int, last: int) -> list[str]:
    made = subprocess.run(["make", "-s", "-C", FIRMWARE, "replay"], capture_output=True, text=True)
    assert made.returncode == 0, made.stderr
    done = subprocess.run(
        [FIRMWARE / "build" / "replay", codes, str(shift), str(first), str(last)], capture_output=True, text=True
    )
    assert done.returncode == 0
    return done.stdout.splitlines()


def _noisy(chip: SimulatedChip) -> None:
    chip.amplifier(offset=0.0123, noise=0.002, seed=8)
    chip.ambient(90_000.0, flicker_depth=0.2)


def test_chip_and_core_make_the_same_of_the_same_conversions(chip: SimulatedChip, line: Line, tmp_path: Path) -> None:
    """Ring and every steady window of a noisy run are bit for bit what the core gives for the recorded conversions."""
    codes = tmp_path / "codes"
    _noisy(chip)
    chip.record_codes(codes)
    messages = line.after(700)
    chip.pop(1.3e6, decay_us=900, rise_us=60, at_ms=2.2)
    messages += line.after(120)
    chip.record_codes(None)
    ring, sums = _replay(codes, 0, 0, 0)
    (block,) = of(messages, "BLOCK")
    assert bytes(block["samples"].astype(np.uint8)).hex() == ring.split()[2]
    summed = np.array(sums.split()[1:], dtype=np.int64)
    at = 0
    windows = [w for w in of(messages, "STEADY") if w["time_ms"] < block["time_ms"]]
    assert len(windows) >= 6
    for window in windows:
        piece = summed[at : at + window["count"]]
        at += window["count"]
        assert (piece.sum(), piece.min(), piece.max()) == (window["sum"], window["min"], window["max"])


@pytest.mark.parametrize("shift", [1, 2, 3])
def test_averaged_samples_are_the_cores(chip: SimulatedChip, line: Line, tmp_path: Path, shift: int) -> None:
    """With factors 2, 4 and 8 the ring is what the core gives when armed anew at some conversion around the command."""
    codes = tmp_path / "codes"
    _noisy(chip)
    chip.record_codes(codes)
    line.after(15.0)
    line.send("SET_INTERVAL", bytes([1 << shift]))
    line.after(60.0)
    chip.pop(1.3e6, decay_us=3000, rise_us=100, at_ms=1.7)
    (block,) = of(line.after(100 + 30 * (1 << shift)), "BLOCK")
    chip.record_codes(None)
    wanted = bytes(block["samples"].astype(np.uint8)).hex()
    around = 15_000 // 13
    rings = [text.split()[2] for text in _replay(codes, shift, around - 60, around + 200)]
    assert wanted in rings
