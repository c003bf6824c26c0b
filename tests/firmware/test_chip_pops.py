"""The real firmware on the simulated chip, read with a decoder of our own for tests: its pops."""

from __future__ import annotations

import random

import numpy as np
import pytest

pytest.importorskip("cobs.cobs")
from chip_reader import POP_MS, READY_MS, Line, exposure_raw_s, of, times_and_raw

from hardware_notes.firmware.bench.simulated_chip import BRIGHT_FULL_SCALE_LX, SimulatedChip


@pytest.mark.parametrize("part", [0.8, 0.2])
@pytest.mark.parametrize("decay_us", [1500.0, 500.0, 250.0, 90.0])
def test_exposure_of_a_pop(chip: SimulatedChip, line: Line, part: float, decay_us: float) -> None:
    """The integral of a block is the flash's exposure, on average within 1 %, worst within 3 % (8 % at 1/5000 s)."""
    chances = random.Random(9)
    line.after(READY_MS)
    errors = []
    for _ in range(8):
        truth_lxs = chip.pop(part * BRIGHT_FULL_SCALE_LX, decay_us=decay_us, rise_us=decay_us / 10,
                             at_ms=1 + chances.random())  # fmt: skip
        messages = line.after(POP_MS)
        (pop,), (block,) = of(messages, "POP"), of(messages, "BLOCK")
        assert pop["pop"] == block["pop"]
        assert pop["time_ms"] == block["time_ms"]
        assert block["flags"] == 0
        errors.append(exposure_raw_s(block) * BRIGHT_FULL_SCALE_LX / truth_lxs - 1)
    assert abs(np.mean(errors)) < 0.012
    assert max(map(abs, errors)) < (0.03 if decay_us > 100 else 0.08)
    assert chip.stats().samples_missed == 0


def test_block_has_the_shape_of_the_pop(chip: SimulatedChip, line: Line) -> None:
    """A flat-topped flash stands in the block at its level, its length and its moment."""
    line.after(READY_MS)
    chip.rectangle(1.0e6, width_us=2600.0, at_ms=3.0)
    block = of(line.after(POP_MS), "BLOCK")[0]
    times_s, raw, lengths_s = times_and_raw(block)
    lit = raw > 0.25
    assert block["pretrigger"] == 128
    assert list(np.flatnonzero(lit)) == list(range(128, 328)), "from the trigger on, 200 samples of 13 µs"
    # Without the sample in whose conversion it rises: the amplifier takes 2 µs, and the moment within it is chance.
    assert raw[lit][1:].mean() == pytest.approx(0.5123, abs=0.0003)
    assert raw[~lit].mean() == pytest.approx(0.0123, abs=0.0003), "10 bits survive in 8-bit samples"
    assert float(lengths_s.sum()) == pytest.approx(128 * 13e-6 + 1536 * 13e-6)
    assert times_s[-1] == pytest.approx(0.01994, abs=1e-4)


def test_pop_is_told_before_its_block(chip: SimulatedChip, line: Line) -> None:
    """The POP is there when the capture is done, some 50 ms before the block."""
    line.after(READY_MS)
    chip.pop(1e6, decay_us=400, rise_us=30)
    kinds = [m.kind for m in line.after(24)]
    assert "POP" in kinds
    assert "BLOCK" not in kinds
    assert "BLOCK" in [m.kind for m in line.after(60)]


def test_slow_head_fits_and_is_not_truncated(chip: SimulatedChip, line: Line) -> None:
    """t0.1 of 1/100 s (decay 4.3 ms): 20 ms of ring keep 99 %; what is not fallen back is flagged; factor 4 has it all."""
    line.after(READY_MS)
    truth_lxs = chip.pop(1.2e6, decay_us=4300, rise_us=200)
    block = of(line.after(POP_MS), "BLOCK")[0]
    assert exposure_raw_s(block) * BRIGHT_FULL_SCALE_LX == pytest.approx(truth_lxs * 0.99, rel=0.01)
    truth_lxs = chip.pop(1.2e6, decay_us=15_000, rise_us=500)
    block = of(line.after(POP_MS), "BLOCK")[0]
    assert block["flags"] & 2, "truncated"
    line.send("SET_INTERVAL", b"\x04")
    line.after(300)
    truth_lxs = chip.pop(1.2e6, decay_us=15_000, rise_us=500)
    block = of(line.after(250), "BLOCK")[0]
    assert exposure_raw_s(block) * BRIGHT_FULL_SCALE_LX == pytest.approx(truth_lxs * 0.995, rel=0.01)


@pytest.mark.parametrize("factor", [1, 2, 4, 8])
def test_set_interval(chip: SimulatedChip, line: Line, factor: int) -> None:
    """Each factor is announced in the block's segments and in STATUS, and the exposure stays right."""
    line.after(READY_MS)
    sequence = line.send("SET_INTERVAL", bytes([factor]))
    line.send("GET_STATUS")
    messages = line.after(40)
    assert of(messages, "REPLY") == [{"command": 0x85, "its_sequence": sequence, "code": 0}]
    assert of(messages, "STATUS")[0]["interval_ns"] == 13000 * factor
    truth_lxs = chip.pop(1e6, decay_us=1500, rise_us=100, at_ms=1.3)
    block = of(line.after(POP_MS + 25 * factor), "BLOCK")[0]
    assert block["segments"] == [(640, 13000 * factor), (256, 26000 * factor), (128, 52000 * factor)]
    assert exposure_raw_s(block) * BRIGHT_FULL_SCALE_LX == pytest.approx(truth_lxs, rel=0.02)
    assert chip.stats().samples_missed == 0


def test_fast_train_gives_its_mean_level(chip: SimulatedChip, line: Line) -> None:
    """Pulses at 20 kHz, as for high-speed sync, are not resolved; the mean level of the block is right within 1 %."""
    line.after(READY_MS)
    truth_lxs = chip.pop(1.2e6, decay_us=20, rise_us=2, count=160, period_us=50, at_ms=1.1)
    block = of(line.after(POP_MS), "BLOCK")[0]
    assert exposure_raw_s(block) * BRIGHT_FULL_SCALE_LX == pytest.approx(truth_lxs, rel=0.01)


def test_clipped_pop_is_flagged(chip: SimulatedChip, line: Line) -> None:
    """A pop beyond full scale has the flag in POP and BLOCK; one just below has not."""
    line.after(READY_MS)
    chip.pop(2.4e6, decay_us=500, rise_us=50)
    messages = line.after(POP_MS)
    assert of(messages, "POP")[0]["flags"] & of(messages, "BLOCK")[0]["flags"] & 1
    chip.pop(1.9e6, decay_us=500, rise_us=50)
    messages = line.after(POP_MS)
    assert not of(messages, "POP")[0]["flags"]


def test_two_pops_in_quick_succession(chip: SimulatedChip, line: Line) -> None:
    """A pop while the block before it is on the line is counted as lost, told at the next POP, and the block is whole."""
    line.after(READY_MS)
    first_lxs = chip.pop(1e6, decay_us=400, rise_us=30)
    chip.pop(1.4e6, decay_us=400, rise_us=30, at_ms=45)
    third_lxs = chip.pop(0.7e6, decay_us=400, rise_us=30, at_ms=150)
    messages = line.after(300)
    assert [(p["pop"], p["lost"]) for p in of(messages, "POP")] == [(1, 0), (2, 1)]
    got_lxs = [exposure_raw_s(b) * BRIGHT_FULL_SCALE_LX for b in of(messages, "BLOCK")]
    assert got_lxs == pytest.approx([first_lxs, third_lxs], rel=0.02)
    line.send("GET_STATUS")
    (status,) = of(line.after(20), "STATUS")
    assert (status["pops_seen"], status["pops_lost"]) == (3, 1)


def test_pops_every_tenth_of_a_second_are_all_kept(chip: SimulatedChip, line: Line) -> None:
    """Twenty pops 90 ms apart give twenty whole blocks with their own exposures, none lost."""
    line.after(READY_MS)
    truths_lxs = []
    got_lxs = []
    for i in range(20):
        truths_lxs.append(chip.pop(0.4e6 + 0.07e6 * i, decay_us=300, rise_us=30, at_ms=2.0))
        got_lxs += [exposure_raw_s(b) * BRIGHT_FULL_SCALE_LX for b in of(line.after(90), "BLOCK")]
    got_lxs += [exposure_raw_s(b) * BRIGHT_FULL_SCALE_LX for b in of(line.after(50), "BLOCK")]
    assert got_lxs == pytest.approx(truths_lxs, rel=0.03)
    assert chip.stats().samples_missed == 0


def test_steady_light_leaves_pops_out(chip: SimulatedChip, line: Line) -> None:
    """The room light that is reported around a pop is the room light."""
    chip.ambient(30_000.0)
    line.after(300)
    chip.pop(1.5e6, decay_us=1000, rise_us=50, at_ms=20)
    for window in of(line.after(400), "STEADY"):
        mean = (window["sum"] / window["count"] + 0.5) / 1024
        assert mean == pytest.approx(30_000 / BRIGHT_FULL_SCALE_LX + 0.0123, abs=1 / 1024)


def test_status_during_a_capture_leaves_it_alone(chip: SimulatedChip, line: Line) -> None:
    """Asked in the middle of a flash the chip tells the last figure of its reference and keeps the flash whole."""
    line.after(READY_MS)
    truth_lxs = chip.pop(1.2e6, decay_us=2000, rise_us=50)
    line.after(5)
    line.send("GET_STATUS")
    messages = line.after(POP_MS)
    assert of(messages, "STATUS")[0]["reference"] == 0
    assert exposure_raw_s(of(messages, "BLOCK")[0]) * BRIGHT_FULL_SCALE_LX == pytest.approx(truth_lxs, rel=0.01)
