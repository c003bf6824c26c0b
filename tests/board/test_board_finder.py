"""Range finders of build (d): drivers under the real interpreter on register models, and the board's use of one."""

from __future__ import annotations

import json
from pathlib import Path

import board_reader as r
import pytest
from board_bench import HERE, Board, Pulse, micropython, run, why_not

pytestmark = pytest.mark.skipif(why_not() is not None, reason=str(why_not()))
SHORT, LONG = 1, 2
DISTANCE = 7
UNKNOWN = 0xFFFF


def measured(family: int, *results: dict[str, int]) -> list[str]:
    """What the driver makes of these measurements of its model."""
    done = micropython(str(HERE / "run_finder.py"), str(family), stdin=json.dumps(results).encode())
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout.decode().splitlines()


def test_the_short_family_is_set_up_and_measures() -> None:
    """Five reference cells from the twelfth on, two adjustments, then single measurements; rates are 9.7 bits of a million."""
    lines = measured(
        SHORT,
        {"code": 11, "distance": 203, "signal": 1120, "ambient": 12},
        {"code": 4, "distance": 20, "signal": 8, "ambient": 3},
        {"code": 4, "distance": 20, "signal": 8, "ambient": 900},
        {"code": 9, "distance": 1100, "signal": 40},
        {"code": 0, "distance": 8190},
        {"code": 3, "distance": 0},
    )

    assert lines == [
        "5 12",
        f"True 0 203 {UNKNOWN} 8750",
        f"True 2 {UNKNOWN} {UNKNOWN} 62",
        f"True 3 {UNKNOWN} {UNKNOWN} 62",
        f"True 4 {UNKNOWN} {UNKNOWN} 312",
        f"True 1 {UNKNOWN} {UNKNOWN} 0",
        f"True 5 {UNKNOWN} {UNKNOWN} 0",
        "lost",
    ]


def test_the_long_family_is_set_up_and_measures() -> None:
    """Short mode and budget set, adjusted once; its own uncertainty comes in quarters of a millimetre and is rounded up."""
    lines = measured(
        LONG,
        {"code": 9, "distance": 203, "signal": 1120, "ambient": 12, "sigma": 9},
        {"code": 6, "distance": 300, "signal": 16, "sigma": 99},
        {"code": 4, "distance": 300, "signal": 16, "ambient": 2000},
        {"code": 7, "distance": 300, "signal": 1600},
        {"code": 5, "distance": 300},
        {"code": 9, "distance": 5000, "signal": 8},
        {"code": 9, "distance": 50, "signal": 65535, "sigma": 4},
    )

    assert lines == [
        "True 0 203 3 8750",
        f"True 2 {UNKNOWN} {UNKNOWN} 125",
        f"True 3 {UNKNOWN} {UNKNOWN} 125",
        f"True 4 {UNKNOWN} {UNKNOWN} 12500",
        f"True 1 {UNKNOWN} {UNKNOWN} 0",
        f"True 1 {UNKNOWN} {UNKNOWN} 62",
        "True 0 50 1 65534",
        "lost",
    ]


SETTINGS = '{"rate_khz": 250, "bluetooth": false, "name": "bench", "ranger": %d}'


@pytest.mark.parametrize("family", [SHORT, LONG])
def test_the_board_tells_fifteen_distances_a_second_and_none_of_a_flash(family: int, tmp_path: Path) -> None:
    """Every measurement is told in its turn but those under way when a flash burnt: the model counts them up by millimetres."""
    with Board(tmp_path, rate_khz=250, settings=SETTINGS % family) as board:
        board.ambient_lx = 300.0
        said = run(board, 1.0)
        (identity,) = [one for one in said if one.kind == r.IDENTITY]
        assert identity.fields["capabilities"] & 8
        quiet = [one.fields["distance_mm"] for one in said if one.kind == DISTANCE]
        assert quiet == list(range(quiet[0], quiet[0] + len(quiet)))
        assert 12 <= len(quiet) <= 16
        for i in range(6):
            board.pop(Pulse(0.05 + 0.017 * i, 4e5, 30e-6, 700e-6))
            said += run(board, 0.40)
        assert len([one for one in said if one.kind == r.BLOCK]) == 6
        told = [one.fields["distance_mm"] for one in said if one.kind == DISTANCE]
        missing = set(range(told[0], told[-1])) - set(told)
        assert 1 <= len(missing) <= 6
        assert all(one.fields["status"] == 0 for one in said if one.kind == DISTANCE)
    assert not board.errors or "free" in board.errors


def test_a_finder_that_does_not_answer_leaves_light_as_it_is(tmp_path: Path) -> None:
    """Set, and not wired: the board starts, says that it has none, and light comes."""
    with Board(tmp_path, rate_khz=250, settings=SETTINGS % 2, finder="") as board:
        board.ambient_lx = 300.0
        said = run(board, 0.5)
    (identity,) = [one for one in said if one.kind == r.IDENTITY]
    assert not identity.fields["capabilities"] & 8
    assert any(one.kind == r.STEADY for one in said)
    assert not any(one.kind == DISTANCE for one in said)
