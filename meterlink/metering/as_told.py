"""What ``targets`` told to change: remembered, and recorded when the person says that it is made.

What is recorded is what was told, not what would be told now: a pop or a changed setting in between must not put other powers into
the library than those on the heads.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from meterlink.errors import UsageError
from meterlink.metering.session import Session
from meterlink.tables.adjustment import placement_changes
from meterlink.tables.targets import TargetPlan
from meterlink.words.actions import Do

TOLD = "targets:told"
"""Where the library remembers what was told last for a set-up."""


def remember_told(session: Session, told: TargetPlan) -> None:
    """Remember the changes of a plan, each with the placement that it starts from; a plan without any is remembered too."""
    session.library.remember(f"{TOLD}:{session.setup.id}", _changes(session, told))


def set_what_was_told(session: Session) -> tuple[str, ...]:
    """Record that everything was set as it was told last, and forget it; return the names of the lights that changed.

    Raises UsageError when nothing was told, or when a light of it was moved, re-powered or removed since: then nothing is recorded.
    """
    kept = session.library.recall(f"{TOLD}:{session.setup.id}")
    if not kept or not isinstance(kept, list):
        raise UsageError("nothing was told that is not recorded yet: say what is wanted, e.g. {do}", do=Do("targets"))
    for light_id, placement_id, _ in kept:
        light = session.by_id.get(light_id)
        if light is None or session.placement_id(light_id) != placement_id:
            name = light.name if light is not None else "a light"
            raise UsageError("{light} was changed since: ask for the targets again", light=name)
    return _record(session, kept)


def set_as_told(session: Session, told: TargetPlan) -> tuple[str, ...]:
    """Record that the lights were set as a plan tells; return the names of those that changed.

    After a small turn the table shows what is to be expected; a light that was turned far has to be metered.
    """
    return _record(session, _changes(session, told))


def _changes(session: Session, told: TargetPlan) -> list[tuple[str, str, dict[str, Any]]]:
    """(light's id, id of its placement now, fields that change) of every light that is to be turned or carried."""
    found = []
    for row in told.rows:
        light, changes = session.light(row.light), placement_changes(row.move)
        now_id = session.placement_id(light.id)
        if changes and now_id is not None:
            found.append((light.id, now_id, changes))
    return found


def _record(session: Session, changes: Iterable[Sequence[Any]]) -> tuple[str, ...]:
    lights = session.by_id
    with session.library.together():
        for light_id, _, fields in changes:
            session.move(lights[light_id], as_told=True, **fields)
        session.library.remember(f"{TOLD}:{session.setup.id}", None)
    return tuple(lights[light_id].name for light_id, _, _ in changes)
