"""Taps counted by the hand that made them; ``-s`` prints the figures."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.touch.hands import Phone
from tests.touch.libraries import made_up

Start = Callable[..., Phone]


def new_user(start: Start) -> int:
    """First light of a new user: a sensor, a set, the pop."""
    p = start(url="")
    p.tap("simulate")
    p.ready()
    p.tap("count:1")
    assert p.pop().find("figure").seen > 0.99
    return p.taps


def four_from_cold(start: Start) -> int:
    """Four lights by a user whose phone knows no sensor yet, pops not counted, until the set is shown.

    The last light's verdict stands for a moment before the page changes by itself.
    """
    p = start(url="")
    p.tap("simulate")
    p.ready()
    p.tap("count:4")
    for _ in range(3):
        p.pop()
    last = p.pop()
    assert (last.place, last.text("headline"), last.text("last_name")) == ("metering", "All metered", "BACKGROUND")
    assert any(line.startswith("KEY, f ") for line in p.said)
    names = ("KEY", "FILL", "HAIR", "BACKGROUND")
    p.until(lambda s: s.place == "set" and all(s.find(f"row:{name}") for name in names), "the set with four rows, by itself")
    assert all(one["metered"] for one in p.ask("measure").values())
    return p.taps


def stop_less(start: Start) -> int:
    """One stop less on a light that was just metered, and its pop again."""
    p = start(prepare=made_up)
    p.tap("chip:KEY")
    p.pop()
    before, taps = p.ask("measure")["KEY"]["power_stops"], p.taps
    p.tap("chip:KEY")
    p.tap("power:stop_less")
    p.pop()
    now = p.ask("measure")["KEY"]
    assert (now["power_stops"], now["metered"]) == (before - 1, True)
    return p.taps - taps


def wrong_pop(start: Start) -> int:
    """A pop that belongs to nothing is taken back; its light waits again."""
    p = start()
    p.tap("count:2")
    p.pop()
    taps = p.taps
    now = p.tap("act:undo")
    assert (now.said["waiting"], now.text("headline"), p.ask("measure")["KEY"]["metered"]) == ("KEY", "KEY", False)
    return p.taps - taps


def all_together(start: Start) -> int:
    """One pop of all lights, its result on the same screen."""
    p = start(prepare=made_up)
    taps = p.taps
    p.tap("act:sum")
    now = p.pop()
    assert (now.text("last_name"), now.find("figure").seen > 0.99) == ("All lights", True)
    return p.taps - taps


def what_is_wrong(start: Start) -> int:
    """From the metering page to the sentence that says what is wrong and the one that says what to do."""
    p = start(prepare=made_up)
    taps = p.taps
    p.tap("place:set")
    now = p.tap("findings")
    assert now.text("finding:0:title")
    assert now.text("finding:0:todo")
    return p.taps - taps


def match(start: Start) -> int:
    """A stored set is built again: taps until its last light is compared, pops not counted."""
    p = start()
    p.tap("count:2")
    p.pop()
    p.pop()
    p.until(lambda s: s.place == "set", "the set, by itself")
    taps = p.taps
    p.tap("place:more")
    p.tap("more:match")
    p.tap("match_to:Set")
    for _ in range(4):  # a light is fired twice at most, where one pop does not tell enough
        if p.screen().said["waiting"]:
            p.pop()
    p.until(lambda s: s.place == "match" and s.find("match:KEY:difference"), "the comparison, by itself")
    return p.taps - taps


def distance(start: Start) -> int:
    """How far the dome is off the face, for the pop that was just taken."""
    p = start()
    p.tap("count:2")
    p.pop()
    taps = p.taps
    left, top, right, bottom = p.reach("held_slider").box
    p.press(left + 0.4 * (right - left), (top + bottom) / 2)
    p.taps += 1
    p.settled()
    assert p.ask("measure")["KEY"]["held_off_m"] > 0
    return p.taps - taps


MOST = {new_user: 3, four_from_cold: 6, stop_less: 2, wrong_pop: 1, all_together: 1, what_is_wrong: 2, match: 3, distance: 1}


@pytest.mark.parametrize(("job", "most"), MOST.items(), ids=lambda value: getattr(value, "__name__", ""))
def test_taps(phone: Start, job: Callable[[Start], int], most: int) -> None:
    """Each job of a day on set takes no more taps than it may."""
    taps = job(phone)
    print(f"{taps} of {most} taps: {job.__doc__}")

    assert taps <= most
