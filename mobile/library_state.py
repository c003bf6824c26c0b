"""What the library screen shows: set-ups with date and plan, search, and what can be done with one.  No kivy."""

from __future__ import annotations

import re
import time
from pathlib import Path
from typing import NamedTuple

from meterlink.errors import UsageError
from meterlink.library import importing
from meterlink.library.export import write_json
from meterlink.library.store import Library
from meterlink.records import Setup
from meterlink.report.plan import backdrop_m, place_m
from mobile.desk import Desk, Shot
from mobile.texts import t


class PlanDot(NamedTuple):
    """One light of a thumbnail plan: x right, y up, from -1 to 1 of the plan's half size."""

    x: float
    y: float
    key: bool


class SetupCard(NamedTuple):
    """One set-up."""

    setup_id: str
    name: str
    line: str
    """Date, and a word on what it is."""
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
    cards = tuple(_card(desk, setup, current) for setup in found)
    note = "" if found else t("library.none_found", words=search.strip()[:40]) if search.strip() else t("library.empty")
    return LibraryLook(cards, note)


def _plan(desk: Desk, setup: Setup, current: bool) -> tuple[PlanDot, ...]:
    """The stamp of a set-up; kept as long as it is not the one in use, for only that changes."""
    if current or setup.id not in desk.plans:
        desk.plans[setup.id] = plan_dots(desk.library, setup)
    return desk.plans[setup.id]


def day_of(setup: Setup) -> str:
    """The day on which a set-up was begun, as this machine's clock has it."""
    return time.strftime("%Y-%m-%d", time.localtime(setup.created_at_s))


def _card(desk: Desk, setup: Setup, current: str) -> SetupCard:
    here = setup.id == current
    words = (t("library.in_use") if here else "", day_of(setup), t("app.simulated") if "simulated" in setup.tags else "")
    return SetupCard(setup.id, setup.name, " ".join(filter(None, words)), here, _plan(desk, setup, here))


def plan_dots(library: Library, setup: Setup) -> tuple[PlanDot, ...]:
    """Return the thumbnail plan of a set-up: its placed lights around the face, as the sheet's plan has them."""
    found = library.current_placements(setup.id)
    placed = [(light.role, p) for light in library.lights(setup.id) if (p := found.get(light.id)) and p.distance_m]
    placed = [(role, p) for role, p in placed if p.azimuth_deg is not None]
    behind_m = backdrop_m(setup, [role for role, _ in placed])
    places = [place_m(p, role, behind_m) for role, p in placed]
    reach = max((max(abs(x), abs(z)) for x, _, z in places), default=1.0) * 1.15
    return tuple(PlanDot(x / reach, -z / reach, role == "key") for (role, _), (x, _, z) in zip(placed, places, strict=True))


def export_name(name: str) -> str:
    """Return a file name for a set-up that every file system takes."""
    plain = re.sub(r"[^\w\-]+", "-", name, flags=re.UNICODE).strip("-")[:60]
    return f"{plain or 'set-up'}.meterlink.json"


def export_setup(desk: Desk, setup_id: str, folder: Path) -> Path:
    """Write one set-up as a file that another library can import; return where.  An older file is not overwritten."""
    if not folder.is_dir():
        raise UsageError("there is no folder {folder}: make it first or choose another one", folder=folder)
    setup = desk.library.setup(setup_id)
    name = export_name(setup.name)
    stem, number, path = name.removesuffix(".meterlink.json"), 2, folder / name
    while path.exists():
        path, number = folder / f"{stem}-{number}.meterlink.json", number + 1
    write_json(desk.library, path, [setup.id])
    return path


def import_file(desk: Desk, path: Path) -> Shot:
    """Take set-ups from a file, all or nothing; one that comes alone is used where none is in use yet."""
    before = {one.id for one in desk.library.setups()}
    importing.import_file(desk.library, path)
    new = [one for one in desk.library.setups() if one.id not in before]
    return desk.use(new[0].id) if len(new) == 1 and desk.shot.setup is None else desk.shot


def import_typed(desk: Desk, text: str) -> Shot:
    """Take set-ups from the file whose path was typed."""
    if not text.strip():
        raise UsageError("type the path of the file to import")
    return import_file(desk, Path(text.strip()).expanduser())


def archive(desk: Desk, setup_id: str, *, back: bool = False) -> Setup:
    """Put a set-up away: it stays in the library, out of the list.  ``back`` brings it into the list again."""
    setup = desk.library.setup(setup_id)
    if not back and desk.shot.setup and desk.shot.setup.id == setup_id:
        raise UsageError("{setup} is in use: use another set-up first", setup=setup.name)
    desk.library.revise_setup(setup._replace(archived=not back))
    return setup


MOST_LETTERS = {"name": 100, "subject": 100, "notes": 2000}


def describe(desk: Desk, name: str, text: str) -> Shot:
    """Take the name, subject, notes or tags of the set in use, as typed."""
    plain = " ".join(text.split())
    if name == "tags":
        tags = tuple(dict.fromkeys(" ".join(part.split()) for part in text.split(",") if part.strip()))
        if len(tags) > 20 or any(len(tag) > 40 for tag in tags):
            raise UsageError("at most 20 tags of 40 letters: shorten them")
        return desk.revise_setup(tags=tags)
    if len(plain) > MOST_LETTERS[name]:
        raise UsageError("that is too long: use at most {most} characters", most=MOST_LETTERS[name])
    if name == "name":
        if not plain:
            raise UsageError("a set-up needs a name: type one")
        current = desk.shot.setup
        if current is not None and plain.casefold() != current.name.casefold() and desk.free_name(plain) != plain:
            raise UsageError("there is a set-up called {setup} already: choose another name", setup=plain)
    return desk.revise_setup(**{name: plain})
