"""Build (d): what it tells of itself, what it does when its loop is held up, and over a wrap of its clock."""

from __future__ import annotations

import struct
from itertools import pairwise
from pathlib import Path

import board_reader as r
import pytest
from board_bench import FULL_SCALE_LX, Board, Pulse, run, why_not

pytestmark = pytest.mark.skipif(why_not() is not None, reason=str(why_not()))
FINDER_GONE, FINDER_BACK, TURN_LASTS, OTHER_INPUT, SKIP, HOUSE = 103, 104, 105, 106, 107, 108
DISTANCE, THERMOMETER, SUPPLY = 7, 4, 1
NOT_KNOWN = 0xFFFF
WRAP_MS = 1 << 30
FLAT = Pulse(0.0, 1e6, 0.0, 0.0, 1e-3)


def status_of(board: Board) -> dict[str, int]:
    """What the board answers when it is asked."""
    board.write(r.command(0x86, 1))
    return r.of(run(board, 0.1), r.STATUS)[0]


# ------------------------------------------------------------------------------------------------- temperature, supply


def test_temperature_and_supply_are_told(tmp_path: Path) -> None:
    """706 mV of the chip's thermometer are 27 degrees, and half of 3.3 V is its supply, in codes of the reference of 3.0 V."""
    with Board(tmp_path, settings='{"rate_khz": 500, "bluetooth": false, "supply_input": 1}') as board:
        status = status_of(board)
    assert status["temperature"] == pytest.approx(270, abs=5)
    assert status["supply_mv"] == pytest.approx(3300, abs=2)
    assert (status["reference"], status["by_design"], status["tolerance"]) == (0, 0, 0)


def test_a_supply_that_is_not_wired_is_not_known(tmp_path: Path) -> None:
    """The usual settings have no wire to the supply."""
    with Board(tmp_path) as board:
        assert status_of(board)["supply_mv"] == NOT_KNOWN


@pytest.mark.parametrize(("code", "tenths"), [(933, 404), (1042, -62)])
def test_temperature_follows_once_a_minute_and_costs_no_flash(code: int, tenths: int, tmp_path: Path) -> None:
    """1.721 mV less a degree more, below zero too; light is measured as before when the converter comes back to it."""
    with Board(tmp_path) as board:
        run(board, 0.1)
        board.happen(OTHER_INPUT, struct.pack("<BH", THERMOMETER, code))
        assert status_of(board)["temperature"] == pytest.approx(270, abs=5)
        board.happen(SKIP, struct.pack("<I", 61_000))
        run(board, 0.1)
        assert status_of(board)["temperature"] == pytest.approx(tenths, abs=3)
        exposure = board.pop(FLAT._replace(at_s=0.02))
        (block,) = r.of(run(board, 0.2), r.BLOCK)
    assert r.exposure(block) == pytest.approx(exposure / FULL_SCALE_LX[0], rel=0.01)


@pytest.mark.parametrize("armed", [True, False], ids=["armed", "disarmed"])
def test_after_housekeeping_it_watches_anew_and_only_if_it_did_before(armed: bool, tmp_path: Path) -> None:
    """No conversion is lost to a hold-up here, so nothing else arms it: a flash that began while supply and temperature were
    measured is no pop, one a little later is kept whole; disarmed, it keeps neither."""
    with Board(tmp_path) as board:
        run(board, 0.05)
        board.write(r.command(0x83, 1, bytes([armed, 0, 0])))
        run(board, 0.05)
        board.happen(OTHER_INPUT, struct.pack("<BH", THERMOMETER, 933))
        board.happen(HOUSE)
        board.pop(FLAT._replace(at_s=6e-4))
        exposure = board.pop(FLAT._replace(at_s=0.03))
        blocks = r.of(run(board, 0.2), r.BLOCK)
        status = status_of(board)
    assert status["temperature"] == pytest.approx(404, abs=3)
    assert (status["overruns"], status["lost"], status["seen"]) == (0, 0, int(armed))
    assert [r.exposure(one) for one in blocks] == pytest.approx([exposure / FULL_SCALE_LX[0]] * armed, rel=0.01)


def test_housekeeping_waits_for_a_flash_that_is_being_kept(tmp_path: Path) -> None:
    """Due in the middle of a capture it is put off until the block is on its way: the flash is whole."""
    with Board(tmp_path) as board:
        run(board, 0.1)
        board.happen(OTHER_INPUT, struct.pack("<BH", THERMOMETER, 933))
        exposure = board.pop(FLAT._replace(at_s=0.002))
        board.step(0.004)
        board.happen(HOUSE)
        (block,) = r.of(run(board, 0.3), r.BLOCK)
        status = status_of(board)
    assert r.exposure(block) == pytest.approx(exposure / FULL_SCALE_LX[0], rel=0.01)
    assert (status["temperature"], status["lost"]) == (pytest.approx(404, abs=3), 0)


def test_a_finder_that_falls_silent_is_told_and_asked_again(tmp_path: Path) -> None:
    """Status 5 and no distance while it does not answer, light all the same, and distances when it does again."""
    with Board(tmp_path, rate_khz=250, settings='{"rate_khz": 250, "bluetooth": false, "ranger": 2}') as board:
        run(board, 0.4)
        board.happen(FINDER_GONE)
        gone = run(board, 0.5)
        board.happen(FINDER_BACK)
        back = run(board, 0.5)
    assert {(one["status"], one["distance_mm"]) for one in r.of(gone, DISTANCE)[1:]} == {(5, NOT_KNOWN)}
    assert len(r.of(gone, DISTANCE)) > 4
    assert len(r.of(gone, r.STEADY)) >= 4
    assert r.of(back, DISTANCE)[-1]["status"] == 0


# ---------------------------------------------------------------------------------------------------------- time


@pytest.mark.parametrize("rate_khz", [100, 250, 500])
def test_every_conversion_is_seen_once_while_frames_are_sent(rate_khz: int, tmp_path: Path) -> None:
    """A turn a millisecond, two flashes, the second while the first's block is on its way: from one report of steady light to a
    later one, conversions are those of the time between less those of the two captures, to the last one; both flashes last what
    they lasted."""
    flash = FLAT._replace(width_s=2e-3)
    with Board(tmp_path, rate_khz=rate_khz, turn_us=1000) as board:
        run(board, 0.25)
        exposures = [board.pop(flash._replace(at_s=at)) for at in (0.053, 0.053 + 6000 / rate_khz * 1e-3 + 0.025)]
        found = run(board, 0.7)
    blocks, steady = r.of(found, r.BLOCK), r.of(found, r.STEADY)
    assert len(blocks) == 2
    captured = sum(b["fine"] - b["pretrigger"] + 8 * b["coarse"] for b in blocks)
    between_ms = steady[-1]["time_ms"] - steady[0]["time_ms"]
    assert sum(s["count"] for s in steady[1:]) == between_ms * rate_khz - captured
    for block, exposure in zip(blocks, exposures, strict=True):
        assert r.exposure(block) == pytest.approx(exposure / FULL_SCALE_LX[0], rel=0.01)
        assert r.duration_s(block, 0.5) == pytest.approx(2e-3, abs=1.1 * block["fine_ns"] * 1e-9)


def test_a_loop_that_is_held_up_for_25_ms_loses_nothing(tmp_path: Path) -> None:
    """At 500,000 conversions a second the ring holds 33 ms: turns of 25 ms leave flash and interval as they are."""
    with Board(tmp_path, rate_khz=500, turn_us=25_000) as board:
        run(board, 0.3)
        exposure = board.pop(FLAT._replace(at_s=0.07))
        board.step(0.2)
        board.happen(TURN_LASTS, struct.pack("<I", 400))
        (block,) = r.of(run(board, 0.2), r.BLOCK)
        assert status_of(board)["overruns"] == 0
    assert r.exposure(block) == pytest.approx(exposure / FULL_SCALE_LX[0], rel=0.01)
    assert r.duration_s(block, 0.5) == pytest.approx(1e-3, abs=2.1e-6)


def test_a_ring_that_ran_over_is_told_and_gives_no_wrong_flash(tmp_path: Path) -> None:
    """Turns of 31 ms: conversions may be overwritten, which STATUS counts; no flash is made of what is left; then it works as
    before."""
    with Board(tmp_path, rate_khz=500) as board:
        run(board, 0.2)
        board.happen(TURN_LASTS, struct.pack("<I", 31_000))
        for at in (0.05, 0.14, 0.33):
            board.pop(FLAT._replace(at_s=at))
        data = run(board, 0.5)
        board.happen(TURN_LASTS, struct.pack("<I", 400))
        data += run(board, 0.2)
        status = status_of(board)
        exposure = board.pop(FLAT._replace(at_s=0.05))
        (block,) = r.of(run(board, 0.2), r.BLOCK)
    assert status["overruns"] >= 15
    assert not r.of(data, r.BLOCK)
    assert r.exposure(block) == pytest.approx(exposure / FULL_SCALE_LX[0], rel=0.01)


def test_a_capture_that_the_ring_runs_over_is_a_lost_pop(tmp_path: Path) -> None:
    """Held up in the middle of a capture: the flash was seen, so it counts as lost."""
    with Board(tmp_path, rate_khz=500) as board:
        run(board, 0.2)
        board.pop(FLAT._replace(at_s=0.005))
        board.step(0.01)
        board.happen(TURN_LASTS, struct.pack("<I", 31_000))
        board.step(0.05)
        board.happen(TURN_LASTS, struct.pack("<I", 400))
        found = run(board, 0.2)
        status = status_of(board)
    assert not r.of(found, r.POP)
    assert (status["lost"], status["seen"]) == (1, 1)


@pytest.mark.parametrize("start_ms", [WRAP_MS - 400, WRAP_MS // 1000 - 400], ids=["milliseconds", "microseconds"])
def test_the_clock_wraps_and_nothing_shows(start_ms: int, tmp_path: Path) -> None:
    """Ticks wrap after twelve days (ms) and eighteen minutes (us): times go on, a flash across the wrap has its own."""
    with Board(tmp_path, rate_khz=250, start_ms=start_ms) as board:
        board.pop(FLAT._replace(at_s=0.395))
        found = run(board, 0.8)
        found += run(board, 0.2)
    times = [one["time_ms"] for one in r.of(found, r.STEADY)]
    assert [later - sooner for sooner, later in pairwise(times)] == pytest.approx([100] * (len(times) - 1), abs=6)
    assert len(times) >= 8
    (pop,), (block,) = r.of(found, r.POP), r.of(found, r.BLOCK)
    assert pop["time_ms"] == block["time_ms"] == pytest.approx(start_ms + 395, abs=2)


def test_a_hold_up_across_the_wrap_of_the_clock_is_seen(tmp_path: Path) -> None:
    """Held up for 31 ms while the microseconds begin again: conversions may be overwritten, so it counts, and once only."""
    with Board(tmp_path, rate_khz=500, start_ms=WRAP_MS // 1000 - 110) as board:
        run(board, 0.09)
        board.happen(TURN_LASTS, struct.pack("<I", 31_000))
        board.step(0.031)
        board.happen(TURN_LASTS, struct.pack("<I", 400))
        run(board, 0.1)
        assert status_of(board)["overruns"] == 1
        exposure = board.pop(FLAT._replace(at_s=0.05))
        (block,) = r.of(run(board, 0.2), r.BLOCK)
    assert r.exposure(block) == pytest.approx(exposure / FULL_SCALE_LX[0], rel=0.01)
