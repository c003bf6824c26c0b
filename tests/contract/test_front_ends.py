"""One driver of a session: the same script through the terminal and through the app leaves the same library, record for record."""

# ruff: noqa: D103 - the scripts are named after what happens in them
from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from meterlink.testing import VirtualLoop
from tests.contract.front_ends import LEVELS, Phone, Script, Terminal, add_card, make_set, records

K, F, H = LEVELS["KEY"], LEVELS["FILL"], LEVELS["HAIR"]
SCRIPTS: dict[str, tuple[Script, list[str]]] = {}


def script(*counting: str) -> Callable[[Script], Script]:
    """Register a script, with the lights whose readings count at its end, in the order they were taken."""

    def register(made: Script) -> Script:
        SCRIPTS[made.__name__] = (made, list(counting))
        return made

    return register


async def all_three(front: Any) -> None:
    """One pop of each light."""
    await front.meter()
    for level in (K, F, H):
        await front.fire(level)


@script("KEY", "FILL", "HAIR")
async def three_pops_in_order(front: Any) -> None:
    await all_three(front)


@script("KEY")
async def a_distance_said_before(front: Any) -> None:
    await front.meter("KEY@20cm")
    await front.fire(K)


@script("KEY", "FILL", "HAIR")
async def a_distance_said_afterwards(front: Any) -> None:
    await front.meter()
    await front.fire(K)
    await front.held(20)
    await front.fire(F)
    await front.held(5)
    await front.held(10)
    await front.fire(H)
    await front.held(0)


@script("KEY")
async def a_distance_said_while_the_first_is_waited_for(front: Any) -> None:
    await front.meter("KEY")
    await front.held(15)
    await front.fire(K)


@script("KEY", "FILL", "HAIR")
async def taken_back_and_fired_again(front: Any) -> None:
    await front.meter()
    await front.fire(K)
    await front.fire(K * 1.2)
    await front.undo()
    await front.fire(F)
    await front.fire(H)


@script("KEY", "FILL", "HAIR")
async def taken_back_after_the_end(front: Any) -> None:
    await all_three(front)
    await front.undo()
    await front.fire(H * 1.1)


@script("KEY", "FILL")
async def taken_back_with_its_distance(front: Any) -> None:
    await front.meter()
    await front.fire(K)
    await front.fire(F)
    await front.held(20)
    await front.fire(H)
    await front.held(10)
    await front.undo()
    await front.undo()


@script("KEY", "FILL", "HAIR")
async def a_distance_taken_back(front: Any) -> None:
    await front.meter()
    await front.fire(K)
    await front.held(5)
    await front.held(20)
    await front.undo()
    await front.fire(F)
    await front.held(10)
    await front.undo()
    await front.fire(H)
    await front.held(10)
    await front.undo()


@script("HAIR", "KEY", "FILL")
async def given_to_another_light(front: Any) -> None:
    await front.meter()
    await front.fire(H)
    await front.give("HAIR")
    await front.fire(K)
    await front.fire(F)


@script("KEY", "HAIR")
async def one_skipped(front: Any) -> None:
    await front.meter()
    await front.fire(K)
    await front.skip()
    await front.fire(H)


@script("KEY")
async def too_weak_to_be_seen_at_first(front: Any) -> None:
    await front.meter("KEY")
    await front.fire(15.0)
    await front.wait(9.0)
    await front.fire(15.0)


@script("KEY", "FILL", "HAIR")
async def small_on_the_bright_range(front: Any) -> None:
    await front.meter()
    await front.fire(K)
    await front.fire(45.0)
    await front.fire(45.0)
    await front.fire(H)


@script("KEY", "FILL", "HAIR")
async def clipped_and_asked_again(front: Any) -> None:
    await front.meter()
    await front.fire(80.0)
    await front.fire(80.0)
    await front.fire(900.0)
    await front.fire(900.0)
    await front.fire(H)
    await front.fire(H)


@script("KEY", "FILL", "HAIR")
async def to_be_retaken_and_cured_by_its_distance(front: Any) -> None:
    await front.meter("KEY@75cm")
    await front.fire(K)
    await front.held(0)
    await front.fire(F)
    await front.meter()
    await front.fire(F)
    await front.fire(H)


@script("KEY")
async def retaken_once_and_no_better(front: Any) -> None:
    await front.meter("KEY@75cm")
    for level in (K, K * 1.1, F):
        await front.fire(level)


@script("KEY")
async def retaken_after_a_restart(front: Any) -> None:
    await front.meter("KEY@75cm")
    await front.fire(K)
    await front.restart()
    await front.fire(K * 0.9)
    await front.held(5)


@script("KEY", "FILL")
async def damaged_on_its_way(front: Any) -> None:
    await front.meter()
    await front.fire_damaged(K)
    await front.fire(K)
    await front.fire_damaged(F)
    await front.fire_damaged(F)
    await front.fire(F)


@script("KEY", "FILL", "HAIR")
async def lost_and_back(front: Any) -> None:
    await front.meter()
    await front.fire(K)
    await front.lose()
    await front.fire(F)
    await front.lose()
    await front.fire(H)


@script("KEY", "FILL")
async def a_stray_right_after(front: Any) -> None:
    await front.meter()
    await front.fire(K)
    await front.fire(K, gap_s=0.1)
    await front.fire(F)


@script("KEY", "FILL", "HAIR")
async def pops_when_nothing_is_waited_for(front: Any) -> None:
    await all_three(front)
    await front.fire(K * 2)
    await front.fire(F / 2)


@script("KEY", "FILL", "HAIR", "CARD", "CARD")
async def a_reflector(front: Any) -> None:
    await all_three(front)
    add_card(front.path)
    await front.restart()
    await front.meter()
    await front.fire(K * 1.3)
    await front.fire(K)


@script("CARD", "CARD")
async def a_reflector_with_its_distance_afterwards(front: Any) -> None:
    add_card(front.path)
    await front.restart()
    await front.meter("CARD")
    await front.fire(K * 1.3)
    await front.held(5)
    await front.fire(K)
    await front.held(10)


@script("FILL", "HAIR", "KEY")
async def metered_again_it_disarms(front: Any) -> None:
    await all_three(front)
    await front.meter("KEY")
    await front.fire(K * 0.9)
    await front.fire(K * 3)
    await front.fire(F)


@script("KEY", "FILL", "HAIR", "all")
async def all_at_once(front: Any) -> None:
    await all_three(front)
    await front.together()
    await front.fire(K + F)


@script("KEY", "all", "FILL", "HAIR")
async def all_at_once_before_the_second_was_read(front: Any) -> None:
    await front.meter("KEY")
    await front.fire(K)
    await front.together()
    await front.fire(K / 2)
    await front.meter()
    for level in (K, F, H):
        await front.fire(level)


@script("KEY")
async def steady_light(front: Any) -> None:
    front.link.chip.ambient_lx = 1800.0
    await front.steady("KEY")


@script("KEY", "FILL", "HAIR", "KEY")
async def a_moved_light_is_waited_for(front: Any) -> None:
    await all_three(front)
    front.move("KEY", power_text="1/8", power_stops=-3.0)
    await front.restart()
    await front.meter()
    await front.fire(K / 2)


async def all_turned_down(front: Any) -> None:
    """The set is known, and each of its lights waits again."""
    await all_three(front)
    for name in LEVELS:
        front.move(name, power_text="1/8", power_stops=-3.0)
    await front.restart()
    await front.any_order()


@script("KEY", "FILL", "HAIR", "HAIR", "KEY", "FILL")
async def known_lights_in_any_order(front: Any) -> None:
    await all_turned_down(front)
    for level in (H, K, F):
        await front.fire(level / 2)


@script("KEY", "FILL", "HAIR", "KEY", "FILL")
async def in_any_order_taken_back_and_given_away(front: Any) -> None:
    await all_turned_down(front)
    await front.fire(H / 2)
    await front.undo()
    await front.fire(K / 2)
    await front.fire(H / 2)
    await front.give("FILL")


@script("KEY", "FILL", "HAIR", "FILL")
async def a_rebuild_in_two_rounds(front: Any) -> None:
    await all_three(front)
    await front.match("Bowls")
    await front.fire(K)
    await front.fire(F * 0.7)
    await front.fire(H)
    await front.fire(F)


@script("KEY", "FILL", "HAIR", "FILL")
async def a_rebuild_killed_between_its_rounds(front: Any) -> None:
    await all_three(front)
    await front.match("Bowls")
    await front.fire(K)
    await front.fire(F * 0.7)
    await front.fire(H)
    await front.restart()
    await front.match("Bowls")
    await front.fire(F)


@script("FILL", "KEY")
async def a_rebuild_with_steady_light(front: Any) -> None:
    front.link.chip.ambient_lx = 1800.0
    await front.steady("KEY")
    await front.meter("FILL")
    await front.fire(F)
    await front.match("Bowls")
    await front.steady_if_waited()
    await front.fire(F)


@script("KEY", "FILL", "HAIR")
async def killed_in_the_middle(front: Any) -> None:
    await front.meter()
    await front.fire(K)
    await front.restart()
    await front.fire(F)
    await front.restart()
    await front.fire(H)


def play(front_end: type[Any], made: Script, path: Path) -> dict[str, Any]:
    """Play a script on a fresh library; return what the library holds."""
    make_set(path)

    async def run() -> None:
        front = front_end(path)
        if hasattr(front, "begin"):
            await front.begin()
        await made(front)
        await front.close()

    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        runner.run(run())
    return records(path)


@pytest.mark.parametrize("name", sorted(SCRIPTS))
def test_terminal_and_app_leave_the_same_library(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every record of the one is a record of the other, and the readings that count are those of the script's lights."""
    made, counting = SCRIPTS[name]

    terminal = play(Terminal, made, tmp_path / "terminal.sqlite")
    phone = play(Phone, made, tmp_path / "phone.sqlite")

    assert terminal.keys() == phone.keys()
    for setup, of_it in terminal.items():
        for part, held in of_it.items():
            assert phone[setup][part] == held, (setup, part)
    in_use = next(one for one in terminal.values() if one["in_use"])
    effective = sorted(light or "all" for light, _, _, _, counts, _, _ in in_use["readings"] if counts)
    assert effective == sorted(counting), capsys.readouterr().out


def test_the_terminal_says_once_more_what_waits_after_a_retake(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The light that is to be taken again is announced again, and no third time."""
    play(Terminal, SCRIPTS["retaken_once_and_no_better"][0], tmp_path / "terminal.sqlite")

    assert capsys.readouterr().out.count("waiting for KEY") == 2
