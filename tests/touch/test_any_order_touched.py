"""Lights that fire in any order, switched on by touch: each pop lands on its light, a doubt is one tap."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.touch import libraries
from tests.touch.hands import Phone

Start = Callable[..., Phone]


@pytest.fixture
def p(phone: Start) -> Phone:
    """Four known lights that wait, with any order switched on in the settings."""
    p = phone(prepare=libraries.known)
    p.tap("place:more")
    p.tap("more:settings")
    p.tap("choice:free_order:True")
    p.tap("place:set")
    p.tap("set_meter")
    return p


def metered(p: Phone) -> set[str]:
    """Names of the lights that have a reading."""
    return {name for name, one in p.ask("measure").items() if one["metered"]}


def waiting(p: Phone) -> set[str]:
    """Names of the lights that are marked as to come."""
    return {one.name.removeprefix("chip:") for one in p.screen().things if one.name.startswith("chip:") and one.chosen}


def test_three_pops_out_of_their_order_land_on_their_lights(p: Phone) -> None:
    """Nobody is asked for; each pop is shown, spoken and kept as its light's, and what is left is marked and named."""
    now = p.screen()
    assert (now.text("headline"), waiting(p)) == ("in any order", {"KEY", "FILL", "HAIR", "RIM"})
    assert now.find("act:again") is None, "a light that waits is not asked for once more"
    for name, so_far in (("FILL", {"FILL"}), ("RIM", {"FILL", "RIM"}), ("KEY", {"FILL", "RIM", "KEY"})):
        now = p.pop(light=name)
        assert (now.text("last_name"), metered(p)) == (name, so_far)
        assert waiting(p) == {"KEY", "FILL", "HAIR", "RIM"} - so_far
        assert now.find("figure").seen > 0.99
    assert any(line.endswith(("still HAIR, KEY", "still KEY, HAIR")) for line in p.said)
    assert not any("next: KEY" in line for line in p.said)
    p.pop(light="HAIR")
    assert metered(p) == {"KEY", "FILL", "HAIR", "RIM"}


def test_a_pop_in_doubt_names_both_and_one_tap_sets_it_right(p: Phone) -> None:
    """Between HAIR and RIM: both are seen and heard; a tap on *It was ...* gives it to the other, whose turn is over then."""
    p.pop(light="KEY")
    now = p.pop(light="HAIR", stops=-0.12)
    first = now.text("last_name")
    second = {"HAIR": "RIM", "RIM": "HAIR"}[first]
    assert (now.text("note"), now.text("act:second")) == (f"{first} or {second}?", f"It was {second}")
    assert any(f"{first} or {second}, f " in line for line in p.said)
    taps = p.taps
    now = p.tap("act:second")

    assert p.taps - taps == 1
    assert (now.text("last_name"), metered(p), waiting(p)) == (second, {"KEY", second}, {"FILL", first})
    assert now.find("act:second") is None


def test_a_light_that_is_touched_is_the_next_pops_whatever_it_looks_like(p: Phone) -> None:
    """A tap on a light says whose the next pop is; a damaged pop is nobody's."""
    now = p.pop(light="KEY", damaged=True)
    assert (now.text("verdict"), metered(p)) == ("again", set())
    p.tap("chip:RIM")
    now = p.pop(light="HAIR")

    assert (now.text("last_name"), metered(p)) == ("RIM", {"RIM"})
