"""One SQLite file: opening it, transactions, and SQLite's errors in plain words.

Only the standard library's ``sqlite3``, because this is on the start-up path of every command.
"""

from __future__ import annotations

import sqlite3
import time
from _thread import RLock
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path
from typing import Any

from meterlink.errors import LibraryBusy, LibraryDamaged, LibraryError, LibraryTooNew, NotInLibrary, StorageError
from meterlink.library.files import APPLICATION_ID, BUSY, code_of, exists, file_uri, is_busy, is_file, is_wal
from meterlink.library.learnt import is_good_note
from meterlink.library.migrations import SCHEMA_VERSION, migrate
from meterlink.library.rows import is_whole_waveform
from meterlink.words.actions import Do
from meterlink.words.language import marked

BUSY_TIMEOUT_S = 5.0
SYNCHRONOUS = "FULL"
"""Every commit waits for the disk.  A constant only so that tests about other things need not wait."""

_READ_ONLY = (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH)
_MEANINGS: tuple[tuple[tuple[int, ...], type[LibraryError], str], ...] = (
    (BUSY, LibraryBusy, marked("{path} is in use by another program: wait until it has finished, then try again")),
    ((sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB), LibraryDamaged, marked("{path} is not a library or is damaged: {do}")),
    (_READ_ONLY, StorageError, marked("{path} cannot be written: check the rights of file and folder, or choose another file")),
    ((sqlite3.SQLITE_FULL,), StorageError,
     marked("the disk is full, nothing was stored in {path}: free some space and try again")),
    ((sqlite3.SQLITE_IOERR,), StorageError,
     marked("reading or writing {path} failed ({error}): check the disk and its free space")),
)  # fmt: skip
"""What SQLite's result codes mean to a person."""
_REFUSED = LibraryError, marked("{path} refused the record ({error}): nothing was stored; check the values and try again")
_ERRORS = (sqlite3.Error, UnicodeDecodeError)
"""``sqlite3`` decodes texts and messages itself: of a damaged file they may be no text."""


def translated(error: Exception, path: str) -> LibraryError:
    """Return the error of our own tree that says in one line what SQLite's ``error`` means and what to do."""
    no_text = isinstance(error, UnicodeDecodeError) or "decode to UTF-8" in str(error)
    code = sqlite3.SQLITE_CORRUPT if no_text else code_of(error)
    kind, text = next(((kind, text) for codes, kind, text in _MEANINGS if code in codes), _REFUSED)
    return kind(text, path=path, error=error, do=Do("check_file", file=path))


class Database:
    """A connection with this project's habits: WAL, synchronous=FULL, foreign keys, explicit transactions.

    Safe to share between threads: one statement or transaction at a time.
    """

    def __init__(self, path: str, *, create: bool = True, readonly: bool = False, any_version: bool = False) -> None:
        self.path = path
        self.readonly = readonly
        self._lock = RLock()
        self._depth = 0
        self.undone = 0
        """Transactions that were undone: what was looked up in one of them may not be there."""
        self.after_write: Callable[[], None] | None = None
        """Called after each durable write, outside the transaction."""
        self.generation = 0
        """Grows with every write of this connection that changes records, before the transaction around it ends, too."""
        self.connection, self.uri = _connect(path, create=create, readonly=readonly)
        try:
            self._prepare(any_version)
        except BaseException as error:
            self.connection.close()
            if isinstance(error, _ERRORS):
                raise translated(error, path) from error
            raise

    def _prepare(self, any_version: bool) -> None:
        connection = self.connection
        (mark,) = connection.execute("PRAGMA application_id").fetchone()
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        if mark != APPLICATION_ID:
            version = self._not_foreign()
        self.version, self.is_new = int(version), version == 0
        if version > SCHEMA_VERSION:
            raise LibraryTooNew(
                "{path} was written by a newer meterlink (schema {number}, this one knows {schema_version}): update meterlink",
                version, path=self.path, number=version, schema_version=SCHEMA_VERSION,
            )
        connection.execute(f"PRAGMA synchronous={SYNCHRONOUS}")
        if not self.readonly:
            _enter_wal(connection)  # nor is a copy in that mode that was put in place
            if version < SCHEMA_VERSION:
                self.version = migrate(connection, self.path)
        elif version < SCHEMA_VERSION and not any_version:
            raise StorageError(
                "{path} is from an older meterlink and cannot be updated read-only: open it for writing once", path=self.path
            )
        connection.execute("PRAGMA foreign_keys=ON")
        connection.execute("PRAGMA trusted_schema=OFF")
        connection.create_function("is_whole_waveform", 2, is_whole_waveform, deterministic=True)
        connection.create_function("is_good_note", 2, is_good_note, deterministic=True)

    def _not_foreign(self) -> int:
        """Return the version of a file without our mark, which must be empty; asked at once, so that nobody comes between."""
        mark, version, tables = self.connection.execute(
            "SELECT application_id, user_version, count(t.name) FROM pragma_application_id, pragma_user_version "
            "LEFT JOIN sqlite_schema AS t"
        ).fetchone()
        if mark != APPLICATION_ID and (mark or version or tables or _is_one_byte(self.path)):
            raise LibraryDamaged("{path} belongs to another program: choose another file for the library", path=self.path)
        if mark != APPLICATION_ID and self.readonly:
            raise LibraryDamaged("{path} is empty: open it for writing once to make it a library", path=self.path)
        return int(version)

    def rows(self, sql: str, arguments: Sequence[Any] = ()) -> list[Any]:
        """Return all rows of a query.  Raises the library's own errors."""
        try:
            with self._lock:
                return self.connection.execute(sql, arguments).fetchall()
        except _ERRORS as error:
            raise translated(error, self.path) from error

    def row(self, sql: str, arguments: Sequence[Any] = ()) -> Any:
        """Return the first row of a query or None."""
        return next(iter(self.rows(sql, arguments)), None)

    def others_writes(self) -> int:
        """Return a number that changes when another connection, of this or another program, has written to the file."""
        return int(self.row("PRAGMA data_version")[0])

    @contextmanager
    def write(self, *, records: bool = True, trial: bool = False) -> Iterator[sqlite3.Connection]:
        """Run the block in one transaction: durable when it returns, undone whole when it raises.

        Inside another one it is part of that.  ``records`` is False for a write that no set-up depends on.  A trial is undone.
        """
        with self._lock:
            if self._depth:
                yield self.connection
                self.generation += records
                return
            self._depth = 1
            try:
                self.connection.execute("BEGIN IMMEDIATE")
                yield self.connection
                if not trial:
                    self.connection.execute("COMMIT")
            except _ERRORS as error:
                raise translated(error, self.path) from error
            finally:
                self._depth = 0
                self.generation += records
                if self.connection.in_transaction:
                    self.undone += 1
                    with suppress(sqlite3.Error):  # some errors (disk full) have undone it already; the first error tells
                        self.connection.execute("ROLLBACK")
        if self.after_write is not None and not trial:
            self.after_write()

    def alone(self) -> AbstractContextManager[Any]:
        """Keep other threads off the connection for the length of the block."""
        return self._lock

    def close(self) -> None:
        """Close the file.  Twice does no harm."""
        with self._lock:
            self.connection.close()


def _connect(path: str, *, create: bool, readonly: bool) -> tuple[sqlite3.Connection, str]:
    """Open ``path``; return the connection and, when it is only for reading, the URI that says how it was opened.

    Where even reading needs a writable folder (WAL), fall back to the file as it stands.
    """
    if path == ":memory:":
        raise StorageError("':memory:' keeps nothing: name a file for the library")
    file = Path(path)
    there = exists(path)
    if not there and (readonly or not create):
        raise NotInLibrary("there is no library at {path}: check the name, or begin one: {do}", path=path, do=Do("new_setup"))
    if not there and not file.absolute().parent.is_dir():
        raise StorageError("the folder of {path} does not exist: make it first or choose another file", path=path)
    if there and not is_file(path):
        raise StorageError("{path} is not a file: choose a file name for the library", path=path)
    still = file_uri(path, "mode=ro&immutable=1")
    try:
        if not readonly:
            return _checked(path, uri=not path.startswith("file:")), ""
        # Looking at a file that nobody has open leaves nothing beside it, not even for a moment.
        uri = still if is_wal(file) and not exists(path + "-wal") else file_uri(path, "mode=ro")
        return _checked(uri, uri=True), uri
    except _ERRORS as error:
        if there and code_of(error) in (*_READ_ONLY, sqlite3.SQLITE_IOERR) and not _has_log(path):
            with suppress(sqlite3.Error):  # the first error tells more
                return _checked(still, uri=True), still
        raise translated(error, path) from error


def _checked(name: str, *, uri: bool) -> sqlite3.Connection:
    """Connect and read one page, because SQLite opens files lazily."""
    connection = sqlite3.connect(name, timeout=BUSY_TIMEOUT_S, isolation_level=None, check_same_thread=False, uri=uri)
    try:
        connection.execute("PRAGMA schema_version").fetchone()
    except BaseException:
        connection.close()
        raise
    return connection


def _has_log(path: str) -> bool:
    """Say whether a write-ahead log holds changes that an immutable view would miss."""
    try:
        return Path(path + "-wal").stat().st_size > 0
    except OSError:
        return False


def _is_one_byte(path: str) -> bool:
    """Say whether a file has one byte, which SQLite takes for an empty one (``sqlite3OsFileSize`` on Unix) and would write over."""
    with suppress(OSError):
        return Path(path).stat().st_size == 1
    return False


def _enter_wal(connection: sqlite3.Connection) -> None:
    """Switch the file to write-ahead logging; another process doing the same makes SQLite say busy without waiting."""
    deadline_s = time.monotonic() + BUSY_TIMEOUT_S
    while True:
        try:
            connection.execute("PRAGMA journal_mode=WAL").fetchone()
            return
        except sqlite3.OperationalError as error:
            if not is_busy(error) or time.monotonic() > deadline_s:
                raise
            time.sleep(0.01)
