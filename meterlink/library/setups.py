"""Set-ups, lights and placements in the library.

A set-up or light is its id plus versions that are only ever added; the version with the latest id is what it is now.
A placement is never changed: the one with the latest id is where the light stands now.
"""

from __future__ import annotations

import time
from collections.abc import Iterable

from meterlink.errors import NotInLibrary, UsageError
from meterlink.library import rows
from meterlink.library.connection import Database
from meterlink.records.ids import keep_after, new_id
from meterlink.records.kept import Light, Placement, Setup
from meterlink.words.actions import Do
from meterlink.words.language import marked, say, translated

_LATEST_SETUP = "AND v.id = (SELECT max(id) FROM setup_version WHERE setup_no = s.no)"
SETUP_SELECT = f"SELECT {rows.SETUPS.select} FROM setup s JOIN setup_version v ON v.setup_no = s.no {_LATEST_SETUP}"
_LATEST_LIGHT = "AND v.id = (SELECT max(id) FROM light_version WHERE light_no = l.no) "
LIGHT_SELECT = (
    f"SELECT {rows.LIGHTS.select} FROM light l JOIN setup s ON s.no = l.setup_no JOIN light_version v ON v.light_no = l.no "
    + _LATEST_LIGHT
    + "LEFT JOIN light f ON f.no = v.source_light_no"
)
PLACEMENT_SELECT = f"SELECT {rows.PLACEMENTS.select} FROM placement p JOIN light l ON l.no = p.light_no"

SHORTEST_ID = 8
"""Digits of an id from which on its beginning is taken for it."""


class SetupStore:
    """The part of ``Library`` that keeps set-ups, lights and placements."""

    db: Database

    def __init__(self, db: Database) -> None:
        self.db = db
        self._numbers: dict[tuple[str, str], tuple[int, int]] = {}
        self._numbers_undone = 0

    # -- set-ups ------------------------------------------------------------------------------------------------

    def add_setup(self, setup: Setup) -> None:
        """Store a new set-up.  Raises ``UsageError`` when one in use has its name."""
        with self.db.write() as connection:
            self._free_setup_name(setup.name, setup.id)
            connection.execute("INSERT INTO setup (id, created_at_s) VALUES (?, ?)", (rows.id_bytes(setup.id), setup.created_at_s))
            self._add_setup_version(setup)

    def revise_setup(self, setup: Setup) -> None:
        """Store a new version of the set-up with this id (renamed, other ISO, archived ...).  The old ones stay."""
        with self.db.write():
            self._setup_no(setup.id)
            if not setup.archived:
                self._free_setup_name(setup.name, setup.id)
            self._add_setup_version(setup)

    def _add_setup_version(self, setup: Setup) -> None:
        no = self._setup_no(setup.id)
        version = self._version_id("setup_version", "setup_no", no)
        self.db.connection.execute(rows.SETUPS.insert, rows.SETUPS.row(setup, version, no, rows.name_key(setup.name)))

    def _free_setup_name(self, name: str, own_id: str) -> None:
        rows.checked_name(name, "a set-up")
        for other in self._setups_named(name):
            if other.id != own_id and not other.archived:
                raise UsageError("there is a set-up named {other!r} already: choose another name or archive it", other=other.name)

    def _setups_named(self, name: str) -> list[Setup]:
        return [rows.SETUPS.record(r) for r in self.db.rows(f"{SETUP_SELECT} WHERE v.name_key = ?", (rows.name_key(name),))]

    def setups(self, include_archived: bool = False, search: str = "") -> list[Setup]:
        """Return the set-ups, newest first.  ``search``: words that must all occur in name, subject, tags or notes."""
        words = rows.name_key(search).split()
        found = map(rows.SETUPS.record, self.db.rows(f"{SETUP_SELECT} ORDER BY s.id DESC"))
        shown = (s for s in found if include_archived or not s.archived)
        return [s for s in shown if _has_words(words, (s.name, s.subject, s.notes, *s.tags))]

    def setup_versions(self, setup_id: str) -> list[tuple[str, Setup]]:
        """Return (version's id, set-up as it was) of every version, oldest first."""
        every = SETUP_SELECT.replace("SELECT ", "SELECT v.id, ", 1).replace(_LATEST_SETUP, "")
        found = self.db.rows(f"{every} WHERE s.no = ? ORDER BY v.id", (self._setup_no(setup_id),))
        return [(row[0].hex(), rows.SETUPS.record(row[1:])) for row in found]

    def setup(self, name_or_id: str | None = None) -> Setup:
        """Return one set-up by name (any case), id, or the beginning of its id (8 digits and more); without one, that in use.

        Raises ``NotInLibrary`` with the close names, ``UsageError`` when more than one fits.
        """
        if name_or_id is None:
            return self.current_setup()
        low = _id_range(name_or_id)
        found = [rows.SETUPS.record(r) for r in self.db.rows(f"{SETUP_SELECT} WHERE s.id BETWEEN ? AND ?", low)] if low else []
        found = found or self._setups_named(name_or_id)
        found = [s for s in found if not s.archived] or found
        if len(found) > 1:
            ids = self.short_ids(found)
            raise _ambiguous("set-ups", name_or_id, ids, Do("rename_setup", setup=ids[0]))
        if not found:
            raise _unknown("set-up", name_or_id, [s.name for s in self.setups()], Do("list_setups"))
        return found[0]

    def short_ids(self, setups: Iterable[Setup]) -> list[str]:
        """Return the beginning of each set-up's id that is no other's: ``setup`` takes it in place of the name."""
        every = [row[0].hex() for row in self.db.rows("SELECT id FROM setup")]
        enough = range(SHORTEST_ID, 33)
        return [next(s.id[:n] for n in enough if sum(one.startswith(s.id[:n]) for one in every) == 1) for s in setups]

    def current_setup(self) -> Setup:
        """Return the set-up in use.  Raises ``NotInLibrary`` when none was chosen."""
        found = self.setup_in_use()
        if found is None:
            raise NotInLibrary(
                "no set-up is in use: begin one ({do}) or choose one ({use})", do=Do("new_setup"), use=Do("use_setup")
            )
        return self.setup(found)

    def setup_in_use(self) -> str | None:
        """Return the id of the set-up in use, None when none was chosen."""
        row = self.db.row("SELECT value FROM memory WHERE key = 'current_setup'")
        return row and str(row[0])

    def use_setup(self, setup_id: str) -> None:
        """Make this the set-up in use (this file's own memory, not merged)."""
        with self.db.write() as connection:
            self._setup_no(setup_id)
            connection.execute("INSERT OR REPLACE INTO memory VALUES ('current_setup', ?)", (setup_id,))

    def copy_setup(self, setup_id: str, name: str) -> Setup:
        """Make a new set-up from an old one as template: its lights and where they stand, no readings."""
        with self.db.write():
            old = self.setup(setup_id)
            copy = old._replace(id=new_id(), name=name, created_at_s=time.time(), archived=False)
            self.add_setup(copy)
            lights = self.lights(old.id)
            ids = {light.id: new_id() for light in lights}
            placements = self.current_placements(old.id)
            for light in sorted(lights, key=lambda light: light.source_light_id is not None):  # sources first
                source = ids.get(light.source_light_id or "")
                self.add_light(light._replace(id=ids[light.id], setup_id=copy.id, source_light_id=source))
                if light.id in placements:
                    stood = placements[light.id]
                    self.add_placement(stood._replace(id=new_id(), light_id=ids[light.id], created_at_s=copy.created_at_s))
        return copy

    # -- lights -------------------------------------------------------------------------------------------------

    def add_light(self, light: Light) -> None:
        """Store a new light.  Raises ``UsageError`` when its set-up has a light of that name (any case)."""
        with self.db.write() as connection:
            setup_no = self._setup_no(light.setup_id)
            self._free_light_name(light)
            connection.execute("INSERT INTO light (id, setup_no) VALUES (?, ?)", (rows.id_bytes(light.id), setup_no))
            self._add_light_version(light, setup_no)

    def revise_light(self, light: Light) -> None:
        """Store a new version of the light with this id (renamed, re-ordered, removed ...).  The old ones stay."""
        with self.db.write():
            setup_no = self._setup_no(light.setup_id)
            if self._light_no(light.id)[1] != setup_no:
                raise UsageError("light {light!r} belongs to another set-up: add it to this one as a new light", light=light.name)
            if not light.removed:
                self._free_light_name(light)
            self._add_light_version(light, setup_no)

    def _add_light_version(self, light: Light, setup_no: int) -> None:
        no, source_no = self._light_no(light.id)[0], self._source_no(light, setup_no)
        version = self._version_id("light_version", "light_no", no)
        self.db.connection.execute(rows.LIGHTS.insert, rows.LIGHTS.row(light, version, no, rows.name_key(light.name), source_no))

    def _source_no(self, light: Light, setup_no: int) -> int | None:
        if light.source_light_id is None:
            return None
        no, source_setup_no = self._light_no(light.source_light_id)
        if light.source_light_id == light.id or source_setup_no != setup_no:
            raise UsageError("the source of {light!r} must be another light of the same set-up", light=light.name)
        return no

    def _free_light_name(self, light: Light) -> None:
        rows.checked_name(light.name, "a light")
        key = rows.name_key(light.name)
        for other in self.lights(light.setup_id):
            if other.id != light.id and rows.name_key(other.name) == key:
                raise UsageError("there is a light named {other!r} in this set-up already: choose another name", other=other.name)

    def lights(self, setup_id: str, include_removed: bool = False) -> list[Light]:
        """Return the lights of a set-up in their order (then as added)."""
        no = self._setup_no(setup_id)
        found = self.db.rows(f"{LIGHT_SELECT} WHERE l.setup_no = ? ORDER BY v.order_index, l.id", (no,))
        return [light for light in map(rows.LIGHTS.record, found) if include_removed or not light.removed]

    def light_versions(self, setup_id: str) -> list[tuple[str, Light]]:
        """Return (version's id, light as it was) of every version of every light of a set-up, oldest first."""
        every = LIGHT_SELECT.replace("SELECT ", "SELECT v.id, ", 1).replace(_LATEST_LIGHT, "")
        found = self.db.rows(f"{every} WHERE l.setup_no = ? ORDER BY v.id", (self._setup_no(setup_id),))
        return [(row[0].hex(), rows.LIGHTS.record(row[1:])) for row in found]

    def light(self, setup_id: str, name: str) -> Light:
        """Return one light of a set-up by name (any case) or id.

        Raises ``NotInLibrary`` with the close names, ``UsageError`` when more than one fits.
        """
        lights, key = self.lights(setup_id), rows.name_key(name)
        found = [x for x in lights if rows.name_key(x.name) == key] or [
            x for x in self.lights(setup_id, include_removed=True) if x.id == name
        ]
        if len(found) > 1:
            raise _ambiguous("lights", name, [x.id for x in found], Do("rename_light", light=found[0].id))
        if not found:
            raise _unknown("light", name, [x.name for x in lights], Do("list_lights"))
        return found[0]

    # -- placements ---------------------------------------------------------------------------------------------

    def add_placement(self, placement: Placement) -> None:
        """Store where a light stands from now on.  Older placements stay as they were."""
        with self.db.write() as connection:
            connection.execute(rows.PLACEMENTS.insert, rows.PLACEMENTS.row(placement, self._light_no(placement.light_id)[0]))

    def placements(self, light_id: str) -> list[Placement]:
        """Return every placement that a light has had, oldest first."""
        no = self._light_no(light_id)[0]
        return [rows.PLACEMENTS.record(r) for r in self.db.rows(f"{PLACEMENT_SELECT} WHERE p.light_no = ? ORDER BY p.id", (no,))]

    def current_placements(self, setup_id: str) -> dict[str, Placement]:
        """Return where each light of a set-up stands now, by the light's id; lights without one are left out."""
        found = self.db.rows(
            f"{PLACEMENT_SELECT} WHERE l.setup_no = ? "
            "AND p.id = (SELECT max(id) FROM placement WHERE light_no = l.no) ORDER BY l.id",
            (self._setup_no(setup_id),),
        )
        return {p.light_id: p for p in map(rows.PLACEMENTS.record, found)}

    # -- numbers inside this file -------------------------------------------------------------------------------

    def _setup_no(self, setup_id: str) -> int:
        return self._number("setup", "no", setup_id, "set-up")[0]

    def _light_no(self, light_id: str) -> tuple[int, int]:
        """Return the light's number and its set-up's."""
        return self._number("light", "setup_no", light_id, "light")

    def _number(self, table: str, parent: str, identifier: str, what: str) -> tuple[int, int]:
        """Return (no, parent's no) of a record.  Rows never change, so they are remembered."""
        key = (table, identifier)
        known = self._cached.get(key)
        if known is None:
            row = self.db.row(f"SELECT no, {parent} FROM {table} WHERE id = ?", (rows.id_bytes(identifier),))
            if row is None:
                raise unknown_id(what, identifier)
            known = self._cached[key] = (row[0], row[1])
        return known

    @property
    def _cached(self) -> dict[tuple[str, str], tuple[int, int]]:
        """Numbers that were looked up; forgotten with every transaction that was undone, which may have added them."""
        if self._numbers_undone != self.db.undone:
            self._numbers_undone = self.db.undone
            self._numbers.clear()
        return self._numbers

    def _version_id(self, table: str, parent: str, no: int) -> bytes:
        """Return an id later than every version there is, whatever the clocks say."""
        (last,) = self.db.row(f"SELECT max(id) FROM {table} WHERE {parent} = ?", (no,))
        if last is not None:
            keep_after(last.hex())
        return bytes.fromhex(new_id())


def _has_words(words: list[str], texts: Iterable[str]) -> bool:
    text = " ".join(map(rows.name_key, texts))
    return all(word in text for word in words)


def _id_range(text: str) -> tuple[bytes, bytes] | None:
    """Return the lowest and highest id that begin with ``text``; None when it is no such beginning."""
    if not SHORTEST_ID <= len(text) <= 32 or any(c not in "0123456789abcdef" for c in text):
        return None
    return bytes.fromhex(text.ljust(32, "0")), bytes.fromhex(text.ljust(32, "f"))


def unknown_id(what: str, identifier: str) -> NotInLibrary:
    """Return the refusal of an id that no record of its kind has."""
    return NotInLibrary(
        "there is no {what} {identifier} in this library: take the id from a list", what=translated(what), identifier=identifier
    )


def _ambiguous(what: str, name: str, ids: list[str], do: Do) -> UsageError:
    shown = ", ".join(ids[:5])
    return UsageError(
        "{count} {what} are named {name!r} (libraries were merged): give the id ({shown}), and rename one: {do}",
        count=len(ids), what=translated(what), name=name[:40], shown=shown, do=do,
    )


def _unknown(what: str, name: str, names: Iterable[str], otherwise: Do) -> NotInLibrary:
    from difflib import get_close_matches  # a slip alone needs it: every start would pay

    known = list(dict.fromkeys(names))
    by_key = {rows.name_key(n): n for n in known}
    close = [by_key[k] for k in get_close_matches(rows.name_key(name[:80]), by_key, n=3, cutoff=0.5)]
    if close:
        hint = say("did you mean {names}?", names=say(" or ").join(map(repr, close)))
    elif known:
        more = say(" and more") if len(known) > 8 else ""
        there = marked("there is only {names}; {do}" if len(known) == 1 else "there are {names}{more}; {do}")
        hint = say(there, names=", ".join(map(repr, known[:8])), more=more, do=otherwise)
    else:
        hint = say("there is none yet; {do}", do=otherwise)
    return NotInLibrary("there is no {what} {name!r}: {hint}", what=translated(what), name=name[:80], hint=hint)
