"""Copies of a library that rotate, beside it in ``NAME.backups``: made by SQLite's own backup interface, whole or not there.

One is made before each migration, import, merge, sync that brings something, and restore; and one on the first write of a day, in
the background.  Kept are the newest few, the last one of each of seven days and of each of four weeks.
"""

from __future__ import annotations

import contextlib
import itertools
import os
import shutil
import sqlite3
import threading
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import NamedTuple

from meterlink.errors import LibraryBusy, NotInLibrary, StorageError, UsageError
from meterlink.library import files
from meterlink.library.files import file_uri, is_busy
from meterlink.words.actions import Do

REASONS = ("day", "migration", "import", "merge", "sync", "restore")
"""Why a backup was made, as its file is named."""
DAMAGED = "damaged"
"""What stood there when a backup was put in its place and could not be read: kept until a person removes it."""
NEWEST_KEPT, DAYS_KEPT, WEEKS_KEPT = 5, 7, 4
START_AFTER_S = 2.0
"""The copy of the day waits this long: the reading that asked for it is on the screen by then."""
_PAGES_A_STEP = 256
_PAUSE_S = 0.01
"""Between steps of a megabyte, so that a pop that comes meanwhile finds the disk free."""
_STEPS_A_SYNC = 8


class Backup(NamedTuple):
    """One copy."""

    path: Path
    made_at_s: float
    """Seconds since 1970."""
    reason: str
    size_bytes: int


class Backups:
    """The copies of the library at ``path``."""

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.library = Path(path)
        self.folder = self.library.with_name(self.library.name + ".backups")

    def all(self) -> list[Backup]:
        """Return every copy, newest first."""
        found = []
        with contextlib.suppress(OSError):
            for entry in os.scandir(self.folder):
                when, _, reason = entry.name.removesuffix(".sqlite").partition("-")
                if not entry.name.endswith(".sqlite") or reason not in (*REASONS, DAMAGED) or not entry.is_file():
                    continue
                with contextlib.suppress(ValueError):
                    made = datetime.strptime(when, "%Y%m%dT%H%M%S.%fZ").replace(tzinfo=UTC)
                    found.append(Backup(Path(entry.path), made.timestamp(), reason, entry.stat().st_size))
        return sorted(found, key=lambda one: one.path.name, reverse=True)

    def good(self) -> list[Backup]:
        """Return every copy that can be put back, newest first: not what was found damaged."""
        return [one for one in self.all() if one.reason != DAMAGED]

    def made_today(self) -> bool:
        """Say whether the day has its copy (one dated in the future does not count)."""
        now = time.time()
        return any(one.made_at_s <= now and _day(one) == date.today() for one in self.good())

    def make(self, connection: sqlite3.Connection, reason: str, pause: Callable[[], object] = lambda: None) -> Path:
        """Copy the open library; return the copy.  ``pause`` is called after each megabyte.

        Raises ``StorageError`` when there is no room: then nothing was changed.
        """
        self._prepare()
        target = self.folder / _name(reason)
        copy_to(connection, self.library, target, pause=pause)
        self._rotate(target)
        return target

    def _prepare(self) -> None:
        try:
            self.folder.mkdir(mode=0o700, exist_ok=True)
        except OSError as error:
            raise StorageError(
                "no backup can be kept in {folder} ({strerror}), nothing was changed: check the folder's rights",
                folder=self.folder, strerror=error.strerror,
            ) from error
        files.remove_stale(self.folder)

    def _rotate(self, newest: Path) -> None:
        """Remove what is neither among the newest few nor the last of one of seven days or four weeks."""
        # A clock that was wrong once must not push out what is made now: what is dated in the future counts as today's.
        every, today = self.good(), date.today()
        kept = {newest, *(one.path for one in every[:NEWEST_KEPT])}
        days: dict[date, Path] = {}
        weeks: dict[tuple[int, int], Path] = {}
        for one in every:
            day = min(_day(one), today)
            days.setdefault(day, one.path)
            weeks.setdefault(day.isocalendar()[:2], one.path)
        kept.update([*list(days.values())[:DAYS_KEPT], *list(weeks.values())[:WEEKS_KEPT]])
        for one in every:
            if one.path not in kept:
                one.path.unlink(missing_ok=True)

    def named(self, text: str) -> Path:
        """Return the copy that ``text`` names: ``latest``, a name from the list, or the path of any library file."""
        every = self.good()
        if text == "latest" and every:
            return every[0].path
        found = [one.path for one in self.all() if one.path.name in (text, f"{text}.sqlite")]
        if found or files.is_file(text):
            return found[0] if found else Path(text)
        known = every[0].path.name if every else "there is none yet"
        raise NotInLibrary(
            "there is no backup {typed!r} of {library}: {do} ({known})",
            typed=text[:60], library=self.library, known=known, do=Do("store_backups"),
        )

    def restore(self, copy: Path) -> Path | None:
        """Put a copy in the library's place after keeping what stands there; return where that was kept.

        The copy itself stays.  Raises ``LibraryBusy`` when another program has the library open.
        """
        kept = self._keep_what_stands() if self.library.exists() else None
        mode = (self.library if self.library.exists() else copy).stat().st_mode
        with _reading(copy) as source:
            copy_to(source, copy, self.library, replace=True, mode=mode)
        return kept

    def _keep_what_stands(self) -> Path:
        claim(self.library)
        try:
            with _reading(self.library) as connection:
                connection.execute("SELECT count(*) FROM reading").fetchone()
                return self.make(connection, "restore")
        except (sqlite3.Error, StorageError):
            self._prepare()
            target = self.folder / _name(DAMAGED)
            with files.written_whole(target, mode=0o600) as partial:
                shutil.copyfile(self.library, partial)
            for ours, theirs in zip(files.journals(self.library), files.journals(target), strict=True):
                if ours.exists():
                    shutil.copyfile(ours, theirs)
            return target


class DailyBackup:
    """Makes the copy of the day in the background, beginning with the first write of the day."""

    def __init__(self, path: str) -> None:
        self.backups = Backups(path)
        files.remove_stale(self.backups.folder)  # what a kill left of a copy
        self._day: date | None = None
        self._hurry = threading.Event()
        self._thread: threading.Thread | None = None

    def after_write(self) -> None:
        """Begin the copy when this was the first write of a day; costs next to nothing otherwise."""
        today = date.today()
        if today == self._day:
            return
        self._day = today
        if not self.backups.made_today() and not (self._thread and self._thread.is_alive()):
            self._thread = threading.Thread(target=self._copy, name="backup", daemon=True)
            self._thread.start()

    def finish(self) -> None:
        """Wait for a copy in progress, which no longer has to go slowly."""
        self._hurry.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def _copy(self) -> None:
        self._hurry.wait(START_AFTER_S)
        # What fails here (a full disk, a lock) fails again, with its line, before the next thing that needs a copy.
        with contextlib.suppress(sqlite3.Error, StorageError, UsageError, OSError), _reading(self.backups.library) as source:
            # One view for the whole copy: without it every reading that comes meanwhile would begin the copy anew.
            source.execute("BEGIN")
            source.execute("SELECT count(*) FROM sqlite_schema").fetchone()
            self.backups.make(source, "day", lambda: self._hurry.wait(_PAUSE_S))


def _reading(path: Path) -> contextlib.closing[sqlite3.Connection]:
    """Open a library for reading, to be closed at the end of the block."""
    return contextlib.closing(sqlite3.connect(file_uri(path, "mode=ro"), uri=True, isolation_level=None))


def copy_to(
    connection: sqlite3.Connection, source: Path, target: Path, *, replace: bool = False, mode: int | None = None,
    pause: Callable[[], object] = lambda: None
) -> None:
    """Write a consistent copy of the open library ``source`` to ``target``: under another name first, synced, then renamed.

    An existing library is replaced only when ``replace`` says so and nobody has it open; the open library and what is no library
    never are.  Nobody may read the copy who may not read the library.  Raises ``UsageError``, ``LibraryBusy``, ``StorageError``.
    """
    _check_target(target, source, replace)
    with files.written_whole(target, mode=source.stat().st_mode if mode is None else mode) as partial:
        try:
            with contextlib.closing(sqlite3.connect(partial)) as copy:
                copy.execute("PRAGMA synchronous=OFF")  # synced as a whole before it gets its name
                steps = itertools.count(1)

                def step(_status: int, _left: int, _total: int) -> None:
                    if next(steps) % _STEPS_A_SYNC == 0:
                        files.sync_file(partial)  # little by little: one long wait at the end would hold up a pop
                    pause()

                connection.backup(copy, pages=_PAGES_A_STEP, progress=step)
                copy.execute("PRAGMA journal_mode=DELETE")
            if target.exists():
                claim(target)
            for leftover in files.journals(target):
                leftover.unlink(missing_ok=True)  # of a file that is gone or claimed: it would be played into the copy
        except sqlite3.Error as error:
            raise StorageError(
                "no safe copy could be written to {target} ({error}), nothing was changed: free some space or check the disk",
                target=target, error=error,
            ) from error


def _check_target(target: Path, source: Path, replace: bool) -> None:
    files.check_ordinary(target)
    if not files.exists(target):
        return
    if target.samefile(source):
        raise UsageError("{target} is the library itself: name another file", target=target)
    if not files.is_library(target) and not (replace and target.stat().st_size == 0):
        if replace and files.is_sqlite(target):
            raise UsageError("{target} belongs to another program: choose another name", target=target)
        if not replace or not Backups(target).all():  # a file that has backups was a library, whatever is left of it
            raise UsageError("{target} exists and is no library: choose another name", target=target)
    if not replace:
        files.check_new(target)


def claim(path: Path) -> None:
    """Take a library's journals into it; after this nobody else has it open.  A damaged one is left as it is.

    Raises ``LibraryBusy``.
    """
    with contextlib.closing(sqlite3.connect(path, timeout=0.5, isolation_level=None)) as connection:
        try:
            connection.execute("PRAGMA journal_mode=DELETE").fetchone()
        except sqlite3.DatabaseError as error:
            if is_busy(error):
                raise LibraryBusy("{path} is in use by another program: close that first, then try again", path=path) from error


def _name(reason: str) -> str:
    return f"{datetime.now(UTC):%Y%m%dT%H%M%S.%fZ}-{reason}.sqlite"


def _day(backup: Backup) -> date:
    return datetime.fromtimestamp(backup.made_at_s).date()
