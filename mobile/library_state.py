"""What the library screen shows: set-ups with date and plan, search, and what can be done with one.  No kivy."""

from __future__ import annotations

import re
import time
from pathlib import Path
from typing import NamedTuple

from meterlink.errors import UsageError
from meterlink.records import Setup
from mobile.desk import Desk, Shot
from mobile.texts import t

PAGE = 30
"""Set-ups shown at once: a long library is searched, not scrolled."""


class PlanDot(NamedTuple):
    """One light of a thumbnail plan: x right, y up, from -1 to 1 of the plan's half size."""

    x: float
    y: float
    key: bool


class SetupCard(NamedTuple):
    """One set-up."""

    setup_id: str
    name: str
    date: str
    lights: str
    subject: str
    current: bool
    plan: tuple[PlanDot, ...]


class LibraryLook(NamedTuple):
    """The list."""

    cards: tuple[SetupCard, ...]
    note: str


def library_look(desk: Desk, search: str = "") -> LibraryLook:
    """Read the set-ups that fit the words.  Slow on a large library: call it on the worker thread."""
    found = desk.library.setups(search=search[:200])
    current = desk.shot.setup.id if desk.shot.setup else ""
    cards = tuple(_card(desk, setup, current) for setup in found[:PAGE])
    if not found:
        note = t("library.none_found", words=search.strip()[:40]) if search.strip() else t("library.empty")
    else:
        note = t("library.more", count=len(found) - PAGE) if len(found) > PAGE else ""
    return LibraryLook(cards, note)


def _card(desk: Desk, setup: Setup, current: str) -> SetupCard:
    lights = desk.library.lights(setup.id)
    day = time.strftime("%Y-%m-%d", time.localtime(setup.created_at_s))
    return SetupCard(
        setup.id,
        setup.name,
        day,
        t("first.one") if len(lights) == 1 else t("first.count", count=len(lights)),
        t("app.simulated") if "simulated" in setup.tags else setup.subject,
        setup.id == current,
        plan_dots(desk, setup.id),
    )


def plan_dots(desk: Desk, setup_id: str) -> tuple[PlanDot, ...]:
    """Return the thumbnail plan of a set-up: its placed lights around the face."""
    from mobile.ring_state import plan_xz

    roles = {light.id: light.role for light in desk.library.lights(setup_id)}
    places = []
    for light_id, p in desk.library.current_placements(setup_id).items():
        if light_id in roles and p.distance_m and p.azimuth_deg is not None:
            places.append((*plan_xz(p.distance_m, p.azimuth_deg, p.elevation_deg or 0.0), roles[light_id] == "key"))
    reach = max((max(abs(x), abs(z)) for x, z, _ in places), default=1.0) * 1.15
    return tuple(PlanDot(x / reach, -z / reach, key) for x, z, key in places)


def export_name(name: str) -> str:
    """Return a file name for a set-up that every file system takes."""
    plain = re.sub(r"[^\w\-]+", "-", name, flags=re.UNICODE).strip("-")[:60]
    return f"{plain or 'set-up'}.meterlink.json"


def export_setup(desk: Desk, setup_id: str, folder: Path) -> Path:
    """Write one set-up as a file that another library can import; return where.  An older file is not overwritten."""
    from meterlink.library.export import write_json

    if not folder.is_dir():
        raise UsageError(f"there is no folder {folder}: make it first or choose another one")
    setup = desk.library.setup(setup_id)
    name = export_name(setup.name)
    stem, number, path = name.removesuffix(".meterlink.json"), 2, folder / name
    while path.exists():
        path, number = folder / f"{stem}-{number}.meterlink.json", number + 1
    write_json(desk.library, path, [setup.id])
    return path


def import_file(desk: Desk, text: str) -> Shot:
    """Take set-ups from a file, all or nothing."""
    from meterlink.library.importing import import_file as take

    path = Path(text.strip()).expanduser()
    if not text.strip():
        raise UsageError("type the path of the file to import")
    take(desk.library, path)
    return desk.shot


def archive(desk: Desk, setup_id: str) -> Shot:
    """Put a set-up away: it stays in the library, out of the list."""
    setup = desk.library.setup(setup_id)
    if desk.shot.setup and desk.shot.setup.id == setup_id:
        raise UsageError(f"{setup.name} is in use: use another set-up first")
    desk.library.revise_setup(setup._replace(archived=True))
    return desk.shot
