"""Build (d) on the bench: flashes and steady light through amplifier, converter and DMA into the real program.

While the bench runs the program's heap is locked (run_board.py): whatever allocates ends it, and the test with it.
"""

from __future__ import annotations

import math
import random
import struct
from pathlib import Path

import board_reader as r
import numpy as np
import pytest
from board_bench import FULL_SCALE_LX, LIFT, Board, Pulse, converted, run, why_not

pytestmark = pytest.mark.skipif(why_not() is not None, reason=str(why_not()))
PULSES = {
    "slow": Pulse(0.0, 0.8, 60e-6, 1650e-6),
    "usual": Pulse(0.0, 0.8, 30e-6, 700e-6),
    "quick": Pulse(0.0, 0.8, 10e-6, 150e-6),
    "flat": Pulse(0.0, 0.6, 0.0, 0.0, 1e-3),
}


def test_converter_model_has_all_codes_in_order_and_four_wide_ones() -> None:
    """The bench's converter rises always, is right at its ends, and is about nine steps wide at the four known places."""
    codes = converted(np.arange(0, 1, 1 / 65536))
    assert (np.diff(codes.astype(int)) >= 0).all()
    assert (codes[0], codes[-1]) == (0, 4095)
    widths = np.bincount(codes, minlength=4096) / 16
    assert sorted(np.argsort(widths)[-4:]) == [512, 1536, 2560, 3584]
    assert (widths[[512, 1536, 2560, 3584]] > 8).all()


@pytest.mark.parametrize("sensitivity", [0, 1], ids=["bright", "dim"])
@pytest.mark.parametrize("rate_khz", [100, 250, 500])
@pytest.mark.parametrize("shape", list(PULSES))
def test_exposure_and_durations_of_a_flash(shape: str, rate_khz: int, sensitivity: int, tmp_path: Path) -> None:
    """At every rate and gain a flash's exposure is right within 1 %, t0.5 and t0.1 within 2 % or two samples.

    With fifteen samples in t0.1 it is 1.5 %.
    """
    pulse = PULSES[shape]
    pulse = pulse._replace(peak_lx=pulse.peak_lx * FULL_SCALE_LX[sensitivity], at_s=0.01234)
    with Board(tmp_path, rate_khz=rate_khz) as board:
        board.ambient_lx = 500.0
        run(board, 0.1)
        board.write(r.command(0x82, 1, bytes([sensitivity])))
        run(board, 0.1)
        assert board.range == sensitivity
        board.pop(pulse)
        found = run(board, 0.3)
    (pop,), (block,) = r.of(found, r.POP), r.of(found, r.BLOCK)
    assert pop["pop"] == block["pop"] == 1
    assert block["range"] == sensitivity
    assert block["flags"] == 0
    assert block["fine_ns"] == round(1e9 / (rate_khz * 1e3))
    true = pulse.exposure_lxs() / FULL_SCALE_LX[sensitivity]
    assert r.exposure(block) == pytest.approx(true, rel=0.015 if (shape, rate_khz) == ("quick", 100) else 0.01)
    lag = 2 * block["fine_ns"] * 1e-9 + 8e-6
    for part in (0.5, 0.1):
        assert r.duration_s(block, part) == pytest.approx(pulse.duration_s(part), rel=0.02, abs=lag)
    # the pre-trigger holds the room and nothing of the flash
    before = block["raw"][: block["pretrigger"] - 8]
    assert before.mean() == pytest.approx(LIFT + 500 / FULL_SCALE_LX[sensitivity], abs=5e-4)
    assert block["pretrigger"] == 128


def test_fine_steps_of_a_mean_survive(tmp_path: Path) -> None:
    """At factor 8 a sample is the mean of eight conversions in sixteen bits, and the interval says so."""
    with Board(tmp_path, rate_khz=500) as board:
        run(board, 0.1)
        board.write(r.command(0x85, 1, b"\x08"))
        run(board, 0.1)
        exposure = board.pop(Pulse(0.01, 1e6, 30e-6, 3000e-6))
        found = run(board, 0.5)
    (block,) = r.of(found, r.BLOCK)
    assert block["fine_ns"] == 16000
    assert block["coarse_ns"] == 128000
    assert r.exposure(block) == pytest.approx(exposure / FULL_SCALE_LX[0], rel=0.01)


def test_steady_light_at_fifty_a_second_without_the_flash(tmp_path: Path) -> None:
    """Steady light comes as often as was asked, is right, and a pop does not lift it."""
    with Board(tmp_path, rate_khz=500) as board:
        board.ambient_lx, board.flicker = 20000.0, 0.3
        run(board, 0.1)
        board.write(r.command(0x82, 1, b"\x01") + r.command(0x84, 2, b"\x32"))
        run(board, 0.2)
        board.pop(Pulse(0.1, 1.2e5, 30e-6, 700e-6))
        found = run(board, 1.0)
    steady = r.of(found, r.STEADY)
    assert 48 <= len(steady) <= 51
    raw = np.array([(s["sum"] / s["count"] + 0.5) / 4096 for s in steady])
    assert raw.mean() == pytest.approx(LIFT + 0.1, abs=0.002)
    assert len(r.of(found, r.BLOCK)) == 1


def test_dark_says_the_lifted_zero(tmp_path: Path) -> None:
    """With the cap on, steady light is the lifted zero within half a code of twelve bits."""
    with Board(tmp_path) as board:
        found = run(board, 0.6)
    for s in r.of(found, r.STEADY)[1:]:
        assert (s["sum"] / s["count"] + 0.5) / 4096 == pytest.approx(LIFT, abs=0.5 / 4096)


def test_too_bright_is_said(tmp_path: Path) -> None:
    """A flash beyond the range is marked as clipped in POP and BLOCK."""
    with Board(tmp_path) as board:
        run(board, 0.1)
        board.pop(Pulse(0.01, 4e6, 30e-6, 700e-6))
        found = run(board, 0.2)
    assert [m["flags"] & 1 for m in r.of(found, r.POP) + r.of(found, r.BLOCK)] == [1, 1]


def test_a_lamp_switched_on_is_a_truncated_capture(tmp_path: Path) -> None:
    """Light that does not fall back is said to be cut off."""
    with Board(tmp_path) as board:
        run(board, 0.1)
        board.pop(Pulse(0.01, 1e6, 0.0, 0.0, 0.5))
        found = run(board, 0.2)
    assert r.of(found, r.BLOCK)[0]["flags"] & 2


def test_second_pop_while_the_first_is_sent_is_counted(tmp_path: Path) -> None:
    """A pop that comes while a capture is held is counted as lost; two that come apart are both kept."""
    with Board(tmp_path) as board:
        run(board, 0.1)
        for at in (0.01, 0.0325, 0.2):
            board.pop(Pulse(at, 1e6, 30e-6, 300e-6))
        board.step(0.05)  # nobody reads meanwhile
        found = run(board, 0.5)
        board.write(r.command(0x86, 1))
        (status,) = r.of(run(board, 0.1), r.STATUS)
    pops = r.of(found, r.POP)
    assert [p["pop"] for p in pops] == list(range(1, len(pops) + 1))
    assert len(pops) + status["lost"] == 3 == status["seen"]


def test_identity_is_the_chips_own(tmp_path: Path) -> None:
    """The first message says who it is: the chip's number, twelve bits, two ranges; a fixed id cannot be set (code 1)."""
    with Board(tmp_path, rate_khz=250) as board:
        found = run(board, 0.1)
        board.write(r.command(0x87, 5, bytes(8) + b"\x00"))
        (reply,) = r.of(run(board, 0.1), r.REPLY)
    (identity,) = r.of(found, r.IDENTITY)
    assert found[0].kind == r.IDENTITY
    assert identity["id"] == bytes.fromhex("e6614103e7002b2c")
    assert (identity["adc_bits"], identity["ranges"], identity["interval_ns"]) == (12, 2, 4000)
    assert reply == {"command": 0x87, "its_sequence": 5, "code": 1}


def test_battery_is_told(tmp_path: Path) -> None:
    """A battery on a divider is told at the start, in mV and per cent of the settings."""
    with Board(tmp_path, settings='{"battery_input": 2, "bluetooth": false}') as board:
        (battery,) = r.of(run(board, 0.3), r.BATTERY)
    assert battery["millivolts"] == pytest.approx(2 * 2662 / 4096 * 3000, abs=10)
    assert battery["percent"] == pytest.approx((battery["millivolts"] - 3300) / 8.5, abs=1)


def test_hostile_bytes_are_counted_and_cost_no_capture(tmp_path: Path) -> None:
    """Noise and damaged commands on the line leave the sensor able to answer and to keep a flash; it counts them."""
    chance = random.Random(3)
    with Board(tmp_path) as board:
        run(board, 0.35)
        for _ in range(60):
            junk = bytes(chance.choice((0, 1, 255, chance.randrange(256))) for _ in range(64))
            board.write(junk.replace(b"\r\x03", b"??"))
            run(board, 0.01)
        good = r.command(0x86, 1)
        for i in range(len(good) - 1):
            board.write(good[:i] + bytes([good[i] ^ 0x40]) + good[i + 1 :] + b"\0")
            run(board, 0.01)
        board.write(b"\0" + r.command(0x86, 77))
        exposure = board.pop(Pulse(0.05, 1e6, 30e-6, 700e-6))
        found = run(board, 0.4)
    (status,), (block,) = r.of(found, r.STATUS), r.of(found, r.BLOCK)
    assert status["refused"] > 20
    assert r.exposure(block) == pytest.approx(exposure / FULL_SCALE_LX[0], rel=0.02)


@pytest.mark.parametrize(
    ("kind", "body", "code"),
    [(0x82, b"\x02", 2), (0x84, b"\x33", 2), (0x85, b"\x03", 2), (0x83, b"\x02\0\0", 2), (0x83, b"\x01\x01\0", 2), (0xEE, b"", 1)],
)
def test_impossible_values_are_answered(kind: int, body: bytes, code: int, tmp_path: Path) -> None:
    """A value outside the limits is refused by its code, and nothing changes."""
    with Board(tmp_path) as board:
        run(board, 0.1)
        board.write(r.command(kind, 9, body))
        (reply,) = r.of(run(board, 0.1), r.REPLY)
        assert board.range == 0
    assert reply == {"command": kind, "its_sequence": 9, "code": code}


def test_disarmed_it_keeps_nothing(tmp_path: Path) -> None:
    """ARM 0 keeps no flash, ARM 1 with a threshold keeps it again, and STATUS says the threshold."""
    with Board(tmp_path) as board:
        run(board, 0.1)
        board.write(r.command(0x83, 1, b"\0\0\0"))
        run(board, 0.05)
        board.pop(Pulse(0.01, 1e6, 30e-6, 300e-6))
        assert not r.of(run(board, 0.2), r.POP)
        board.write(r.command(0x83, 2, struct.pack("<BH", 1, 1600)) + r.command(0x86, 3))
        assert r.of(run(board, 0.1), r.STATUS)[0]["threshold"] == 1600
        board.pop(Pulse(0.01, 1e6, 30e-6, 300e-6))
        assert len(r.of(run(board, 0.2), r.POP)) == 1


def test_it_fits_the_heap(tmp_path: Path) -> None:
    """Program, ring and buffers leave a quarter of the board's 180 KB, on an interpreter whose objects are twice as large."""
    with Board(tmp_path, settings='{"rate_khz": 500}') as board:
        run(board, 0.5)
    free, _, whole = board.errors.split()[1:]
    assert int(whole) <= 184320
    assert int(free) >= int(whole) / 4


def test_a_typed_interrupt_gives_the_prompt_back(tmp_path: Path) -> None:
    """CR, Ctrl-C at the beginning of a frame ends the program, as the tools that copy files ask for it."""
    with Board(tmp_path) as board:
        run(board, 0.1)
        board.write(b"\r\x03")
        with pytest.raises(RuntimeError, match="Leave"):
            run(board, 0.1)


def test_interval_has_no_jitter(tmp_path: Path) -> None:
    """A rectangle of a whole number of conversions has the same length wherever it begins between two of them."""
    with Board(tmp_path, rate_khz=500, noise=0) as board:
        lengths = []
        run(board, 0.1)
        for i in range(4):
            board.pop(Pulse(0.01 + i * 0.5e-6, 1e6, 0.0, 0.0, 500e-6))
            (block,) = r.of(run(board, 0.2), r.BLOCK)
            lengths.append(r.duration_s(block, 0.5))
    assert max(lengths) - min(lengths) <= 2.1e-6
    assert math.isclose(lengths[0], 500e-6, abs_tol=2.1e-6)
