"""Twelve days on set, each a list of steps: what the photographer asks for and what goes wrong on the way.

A step says what is typed at a terminal; where the version at the starting point had no such command, ``before`` is what one
typed then.  The app's desk does the same by touch.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, NamedTuple

from benchmarks.onset_scene import CARD_LIGHT, FILL, FIVE, FOUR, HAIR, KEY, SIX, Actual

NOTHING: Mapping[str, Any] = MappingProxyType({})


class Slip(NamedTuple):
    """What happens at the pop of one light."""

    held_m: float = 0.0
    """How far the dome really is from the point."""
    said_after: str = ""
    """Typed after the pop, ``20cm``."""
    lost: bool = False
    """The first pop's data is damaged on the wire."""
    stray: bool = False
    """Somebody else's flash goes off a little later."""


class Step(NamedTuple):
    """One command."""

    words: tuple[str, ...]
    needs: int = 0
    """Pops that it cannot do without."""
    slips: Mapping[str, Slip] = NOTHING
    before: tuple[tuple[str, ...], ...] = ()
    """The same at the starting point, where it took other commands."""
    turns: Mapping[str, float] = NOTHING
    """Before the command, dials are turned by so many stops."""
    moves: Mapping[str, float] = NOTHING
    """Before the command, lights are put at so many metres."""
    advice: bool = False
    """Dials are turned as the answer advises, and that is recorded."""
    quit_after: str = ""
    """``q`` is typed after this light."""

    @property
    def lights(self) -> int:
        """Pops of lights in it: neither that of all together nor the room's."""
        return 0 if "--together" in self.words else self.needs


class Day(NamedTuple):
    """A day with its set, its steps, and what the table must say at the end."""

    name: str
    lights: tuple[Actual, ...]
    steps: tuple[Step, ...]
    wrong: str = ""
    """The light that the checks or its verdict must name at the end; empty: every figure is right."""
    asks: int = 0
    """Questions that must be asked: for a pop that was lost."""


ALL = ("meter",)
ALL_BEFORE = (("meter", "--all"),)
PENDING_BEFORE = (("meter", "--pending"),)


def walk(count: int, **more: object) -> Step:
    """One pop of every light of the set."""
    return Step(ALL, count, before=ALL_BEFORE, **more)


def again(count: int, **more: object) -> Step:
    """One pop of every light without a valid reading."""
    return Step(ALL, count, before=PENDING_BEFORE, **more)


SUM = Step(("meter", "--together"), 1)
ROOM = Step(("meter", "--room", "on"), before=(("meter", "--room", "--lamps", "on"),))
DAYS = (
    Day("plain, five lights", FIVE, (walk(5), SUM)),
    Day(
        "distance forgotten, said after", FIVE,
        (walk(5, slips={"FILL": Slip(0.2, "20cm")}), SUM),
    ),
    Day(
        "dial elsewhere by a stop", FIVE,
        (walk(5), Step(("light", "move", "KEY", "--power", "1/8")), again(1)), wrong="KEY",
    ),
    Day("dome held off, nothing said", FOUR, (walk(4, slips={"KEY": Slip(0.25)}), SUM), wrong="KEY"),
    Day("a lost pop", FIVE, (walk(6, slips={"HAIR": Slip(lost=True)}), SUM), asks=1),
    Day("a stray pop", FIVE, (walk(5, slips={"FILL": Slip(stray=True)}), SUM)),
    Day("a reflector", (KEY, FILL, HAIR, CARD_LIGHT), (walk(5), SUM)),
    Day(
        "rebuild, one light elsewhere", FIVE,
        (
            walk(5),
            Step(("match", "Day"), 6, turns={"FILL": 0.7}),
        ),
    ),
    Day(
        "targets", FOUR,
        (
            walk(4),
            Step(("targets", "FILL=-1"), advice=True),
            again(1),
        ),
    ),
    Day("room light and sum", SIX, (walk(6), ROOM, SUM)),
    Day(
        "weak and strong", (KEY.turned(2.0), FILL.turned(-2.5), HAIR.turned(-1.0), *SIX[3:]),
        (walk(6), SUM),
    ),
    Day(
        "stopped, moved, gone on with", SIX,
        (
            Step(ALL, 3, before=ALL_BEFORE, quit_after="HAIR"),
            again(3),
            Step(("light", "move", "FILL", "--distance", "1.8m"), moves={"FILL": 1.8}),
            again(1),
            SUM,
        ),
    ),
)
