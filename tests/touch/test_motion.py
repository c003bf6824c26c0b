"""Motion: 150 ms, where something changes its place, and nowhere else."""

from __future__ import annotations

from collections.abc import Callable
from itertools import groupby

from mobile.theme import MOVE_S
from tests.touch.hands import Phone
from tests.touch.libraries import made_up

Start = Callable[..., Phone]
FADES = ("_bar_color", "_bar_inactive_color")
"""The scroll bar goes by itself: no change of place."""
KEYBOARD = ("WindowSDL", "_kheight", MOVE_S)
"""A phone's own keyboard pushes the page up, and lets it down again when a field is left."""


def moved(p: Phone) -> set[tuple[str, str, float]]:
    """What was in motion since the app was first asked."""
    return {tuple(one) for one in p.ask("motion") if one[1] not in FADES} - {KEYBOARD}


def order(p: Phone) -> list[str]:
    """The lights as they stand."""
    return list(p.ask("measure"))


def test_a_light_that_changes_its_place_in_the_order_goes_there(phone: Start) -> None:
    """Down in the order: both rows pass through places between, for 150 ms, and stay; a tap meanwhile counts at once.

    What is between is looked at in slow motion: a machine with much to do may draw no frame in 150 ms.
    """
    p = phone(prepare=made_up)
    assert moved(p) == set()
    p.tap("place:lights")
    p.tap("order")
    p.tap("down:KEY")
    assert moved(p) == {("LightRow", "shift_y", MOVE_S)}
    p.until(lambda _s: not p.ask("moving"), "both rows in their places")
    p.ask("slow", move_s=1.5)
    first_row = p.reach("down:FILL").middle
    p.ask("record")
    p.press(*first_row)
    p.until(lambda _s: order(p)[:2] == ["KEY", "FILL"] and not p.ask("moving"), "both rows in their new places")
    frames = p.ask("frames")
    for name in ("open:KEY", "open:FILL"):
        places = [y for y, _ in groupby(one["rows"][name] for one in frames if name in one["rows"])]
        assert places in (sorted(places), sorted(places, reverse=True)), "it went back on its way"
        assert len(places) >= 3, "it passed through no place between"
    p.press(*first_row)
    p.until(lambda _s: order(p)[:2] == ["FILL", "KEY"], "the change")
    assert p.ask("moving")
    p.press(*first_row)
    p.until(lambda _s: order(p)[:2] == ["KEY", "FILL"], "the tap on a row that is still on its way counts")


def test_nothing_else_moves_and_no_result_waits_for_a_motion(phone: Start) -> None:
    """A pop's figure is whole in the first look after it was told; pages, findings, notes, an opened light only change."""
    p = phone(prepare=made_up)
    assert moved(p) == set()
    p.tap("chip:KEY")
    before = p.screen().said["outcomes"]
    p.ask("fire")
    now = p.until(lambda s: s.said["outcomes"] > before, "the pop is told")
    assert now.find("last_name").text == "KEY"
    assert now.find("figure").seen > 0.99
    p.tap("t01")
    p.tap("act:give")
    for place in ("lights", "set"):
        p.tap(f"place:{place}")
    p.tap("findings")
    p.key("Escape")
    p.tap("row:FILL")
    p.tap("power:less")
    p.tap("undo")
    p.turn(640, 360)
    p.wear("paper", 1.5)

    assert moved(p) == set()


def test_who_likes_no_motion_gets_none(phone: Start) -> None:
    """With *show rows going* off, a light stands in its new place at once."""
    p = phone(prepare=made_up)
    assert moved(p) == set()
    p.show("settings")
    p.tap("choice:motion:False")
    p.show("lights")
    p.tap("order")
    p.tap("down:KEY")

    assert order(p)[1] == "KEY"
    assert moved(p) == set()


def test_a_tap_acts_when_the_finger_is_lifted(phone: Start) -> None:
    """Also on a page that scrolls, where it could still have become a swipe: no tap waits for anything."""
    p = phone(prepare=made_up)
    p.ask("delays")
    p.tap("chip:KEY")
    p.show("lights", "KEY")
    p.ask("delays")
    p.tap("power:less")
    p.tap("value:distance")
    waited = p.ask("delays")

    assert len(waited) == 3
    assert max(waited) < 0.1
