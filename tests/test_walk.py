"""The walk through a set: only a reading, a skip or a step back moves it."""

from __future__ import annotations

from meterlink.metering.walk import Request, Walk


def walk() -> Walk:
    """Three lights in order."""
    return Walk([Request("k"), Request("f"), Request("h")])


def test_the_first_light_is_waited_for_first() -> None:
    """A new walk waits for its first light and knows the one after it."""
    w = walk()

    assert (w.waiting, w.following) == (Request("k"), Request("f"))


def test_the_walk_ends_after_the_last_light() -> None:
    """After as many steps as lights nothing is waited for."""
    w = walk()
    for _ in range(4):
        w.advance()

    assert w.done
    assert w.waiting is None


def test_back_to_returns_to_a_light_that_was_passed() -> None:
    """Taking a reading back waits for its light again, not for the one before the present one."""
    w = walk()
    w.advance()
    w.advance()

    assert w.back_to("k")
    assert w.waiting == Request("k")


def test_back_to_does_not_jump_forward() -> None:
    """A light that is still to come is not 'gone back to'."""
    w = walk()

    assert not w.back_to("h")
    assert w.waiting == Request("k")


def test_drop_forgets_only_requests_still_to_come() -> None:
    """A light metered by a re-assignment is not asked for again, those before stay."""
    w = walk()
    w.advance()
    w.drop("h")
    w.drop("k")

    assert [r.light_id for r in w.requests] == ["k", "f"]
    assert w.waiting == Request("f")


def test_a_walk_survives_as_json() -> None:
    """What is stored when the app is killed brings the walk back, with how the dome is held."""
    w = Walk([Request("k", held_off_m=0.2, lit=("a", "b")), Request("f")], 1, auto_advance=False)

    again = Walk.from_json(w.as_json())

    assert (again.requests, again.position, again.auto_advance) == (w.requests, 1, False)


def test_unreadable_stored_walks_are_empty_not_errors() -> None:
    """A stored walk of another version is forgotten: it is only convenience."""
    for data in ({}, {"requests": [{"nonsense": 1}], "position": 0}, {"requests": None, "position": "x"}):
        assert Walk.from_json(data).waiting is None


def test_a_stored_position_beyond_the_end_is_the_end() -> None:
    """Positions are clamped, so that damaged data cannot break the walk."""
    stored = Walk.from_json({"requests": [{"light_id": "k"}], "position": 99, "served": [0, 7]})
    assert (stored.position, stored.served, stored.done) == (1, {0}, True)
