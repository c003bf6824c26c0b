"""``Library``: one SQLite file of set-ups, lights, placements, calibrations and readings.

::

    with Library.open() as library:
        library.add_setup(Setup(new_id(), "Anna, window wall", time.time()))

Everything that was measured is immutable, so two libraries merge by union.  Several processes may use one file at the
same time.  Every public method either did its whole work durably when it returns, or raised a ``LibraryError`` or
``UsageError`` and did nothing.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType

from meterlink.errors import StorageError
from meterlink.library.backup import Backups, DailyBackup
from meterlink.library.connection import Database
from meterlink.library.knowledge import KnowledgeStore
from meterlink.records.ids import keep_after

ENVIRONMENT = "METERLINK_LIBRARY"
FILE_NAME = "library.sqlite"


class Library(KnowledgeStore):
    """A library that is open.  Use as a context manager or call ``close()``."""

    def __init__(self, db: Database) -> None:
        super().__init__(db)
        self._daily: DailyBackup | None = None
        if not db.readonly:
            self.keep_ids_growing()
            if not db.is_new:  # a library that begins today has nothing to lose yet
                self._daily = DailyBackup(db.path)
                db.after_write = self._daily.after_write

    @classmethod
    def open(
        cls, path: str | os.PathLike[str] | None = None, *, create: bool = True, readonly: bool = False, any_version: bool = False
    ) -> Library:
        """Open the library at ``path`` (default: ``METERLINK_LIBRARY``, else a file in the user's data folder).

        An older schema is brought up to date after a safe copy.  ``create=False`` and ``readonly`` refuse a missing
        file.  ``any_version`` (for reading only) takes an older schema as it is.
        Raises ``NotInLibrary``, ``LibraryTooNew``, ``LibraryBusy``, ``LibraryDamaged``, ``StorageError``.
        """
        name = os.fspath(path) if path is not None else default_path()
        return cls(Database(name, create=create, readonly=readonly, any_version=any_version))

    @property
    def path(self) -> str:
        """The file's name."""
        return self.db.path

    def keep_ids_growing(self) -> None:
        """New ids must sort after what is stored even when the clock was set back since: the latest one is in force."""
        for (last,) in self.db.rows(
            "SELECT max(id) FROM placement UNION ALL SELECT max(id) FROM setup "
            "UNION ALL SELECT max(id) FROM reading WHERE setup_no = "
            "(SELECT no FROM setup WHERE id = (SELECT max(id) FROM setup))"
        ):
            if last is not None:
                keep_after(last.hex())

    @contextmanager
    def together(self) -> Iterator[None]:
        """Make all that is stored in the block one transaction: on the disk when it is left, or, when anything fails, not there."""
        with self.db.write(records=False):  # what is stored in the block counts itself
            yield

    def back_up(self, reason: str) -> None:
        """Keep a copy of the library as it is now before something big is done to it; an empty one needs none.

        Raises ``StorageError`` when there is no room.
        """
        if self.db.row("SELECT 1 FROM setup LIMIT 1"):
            with self.db.alone():
                Backups(self.path).make(self.db.connection, reason)

    def close(self) -> None:
        """Close the file, after a backup that is under way.  Twice does no harm."""
        if self._daily is not None:
            self._daily.finish()
        self.db.close()

    def __enter__(self) -> Library:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()


def default_path() -> str:
    """Return the library's place: ``METERLINK_LIBRARY``, else a file in the user's data folder, which is made."""
    named = os.environ.get(ENVIRONMENT)
    if named:
        return named
    from platformdirs import user_data_path

    folder = user_data_path("meterlink", appauthor=False)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StorageError(
            "the folder {folder} cannot be made ({error}): name another file for the library (--library FILE)",
            folder=folder, error=error,
        ) from error
    return str(folder / FILE_NAME)
