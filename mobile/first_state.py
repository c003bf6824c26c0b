"""What the first page shows: a sensor, then a set; or going on where one stopped.  No kivy."""

from __future__ import annotations

from typing import NamedTuple

from mobile.desk import START_ROLES, Desk, Shot
from mobile.sensor_desk import Found, Status
from mobile.sensors_state import without_serial
from mobile.texts import t

COUNTS = (1, 2, 3, 4, 5, 6)


class FirstLook(NamedTuple):
    """The whole page."""

    sensor: str
    searching: str
    found: tuple[tuple[str, str], ...]
    """(url, name) of sensors that a tap connects."""
    ready: bool
    counts: tuple[tuple[int, str], ...]
    resume: str


def first_look(shot: Shot, status: Status, found: tuple[Found, ...]) -> FirstLook:
    """Turn the desks' states into the page."""
    near = tuple((f.url, f.name) for f in found if not f.simulated)[:6]
    searching = t("first.looking") if status.looking else status.search_note or t("first.none")
    return FirstLook(
        without_serial(status.words)[0],
        "" if status.state != "none" else searching,
        () if status.ready else near,
        status.ready,
        tuple((n, f"{n}") for n in COUNTS),
        t("first.resume", name=shot.setup.name) if shot.setup else "",
    )


def start_lights(count: int) -> tuple[tuple[str, str], ...]:
    """Return (name, role) of the lights of a new set of ``count`` lights."""
    return tuple((t(f"name.{role}"), role) for role in START_ROLES[:count])


def begin_set(desk: Desk, count: int) -> Shot:
    """Begin a set of so many lights and wait for the first."""
    return desk.new_set(t("first.set_name"), start_lights(count))
