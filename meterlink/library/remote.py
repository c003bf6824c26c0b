"""The PostgreSQL side of a shared library: the same tables, with ids in place of one file's numbers.

Rows arrive in *batches*, each one transaction, numbered under a lock: whoever has seen batch n has seen all before it, and a
batch never holds a record without what it refers to.  Records are only ever added.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from ipaddress import ip_address
from typing import Any, NamedTuple

from meterlink.errors import LibraryError, LibraryTooNew, UsageError
from meterlink.library.merge import TABLES
from meterlink.library.rows import is_name, name_key
from meterlink.library.schema import number_of
from meterlink.words.language import say

FORMAT = 1
_LOCK = 0x4D746C6B
_TYPES = {"INTEGER": "int8", "REAL": "float8", "TEXT": "text", "BLOB": "bytea"}
_CONNECT_TIMEOUT_S = 10
_STUDIO_BYTES_MAX = 24
"""PostgreSQL cuts names at 63 bytes; each byte of a studio's name takes two."""


class Column(NamedTuple):
    """One column of a shared table: the name here, the name there, its type there, and the table it points at."""

    local: str
    shared: str
    type: str
    target: str


class Shared(NamedTuple):
    """One shared table."""

    name: str
    columns: tuple[Column, ...]

    def at(self, local: str) -> int:
        """The place of a column in a row."""
        return [c.local for c in self.columns].index(local)

    @property
    def names(self) -> str:
        """The columns' names in the shared database, for SQL."""
        return ", ".join(c.shared for c in self.columns)

    @property
    def key(self) -> str:
        """The columns that name a record, for SQL."""
        return ", ".join(next(c.shared for c in self.columns if c.local == k) for k in TABLES[self.name])


def shared_tables(connection: sqlite3.Connection) -> dict[str, Shared]:
    """Derive the shared tables from the local ones; sensors travel as their own ids inside the other tables."""
    found = {}
    for table in TABLES:
        if table == "sensor":
            continue
        columns = []
        for row in connection.execute(f"PRAGMA main.table_info({table})"):
            target = number_of(row[1])
            kind = ("text" if target == "sensor" else "bytea") if target else _TYPES[row[2]]
            if row[1] != "no":
                columns.append(Column(row[1], row[1].removesuffix("_no") + "_id" if target else row[1], kind, target))
        found[table] = Shared(table, tuple(columns))
    return found


class Batch(NamedTuple):
    """One transaction of some client."""

    no: int
    row_count: int
    byte_count: int
    stamp: bytes
    """Random: tells this batch from one of that number in another past of the database."""


class Remote:
    """A connection to a shared library.  Raises ``LibraryError`` in one line for whatever goes wrong there."""

    def __init__(self, url: str, tables: dict[str, Shared], studio: str = "") -> None:
        self._tables = tables
        self._psycopg = _psycopg()
        self._schema = schema_of(studio)
        self._connection = self._connected(url)
        self.place = f"{self._connection.info.host or 'this machine'}/{self._connection.info.dbname}"
        try:
            with self.spoken():
                self._prepare()
        except BaseException:
            self.close()
            raise

    def _connected(self, url: str) -> Any:
        """Connect.  What libpq says of a URL that holds a password is not repeated: parts of the password may be in it."""
        try:
            options = self._psycopg.conninfo.conninfo_to_dict(url)
        except self._psycopg.Error:
            options = {"port": "unreadable"}
        # A password with a sign that a URL does not take spills over into the other parts.
        port, *others = (str(options.get(key) or "") for key in ("port", "host", "hostaddr", "dbname", "user"))
        if (port and not port.replace(",", "").isdigit()) or any(
            "@" in part or "/" in part[1:] for part in others if part[:1] != "/"
        ):
            raise UsageError(
                "the URL of the shared library cannot be read: write postgresql://USER@HOST/DATABASE, and other signs than "
                "letters, digits, - and . as %XX; a password is better given by PGPASSWORD or in the file .pgpass"
            )
        try:
            extra = {} if _is_private(options) else {"sslmode": "require"}
            return self._psycopg.connect(url, connect_timeout=_CONNECT_TIMEOUT_S, autocommit=True, **extra)
        except self._psycopg.Error as error:
            raise _unanswered(_place(options), say("connecting or signing in failed") if "password" in options else error) from None

    def close(self) -> None:
        """Let go of the connection."""
        self._connection.close()

    @contextmanager
    def spoken(self) -> Iterator[None]:
        """Turn the database's errors into ours."""
        try:
            yield
        except self._psycopg.Error as error:
            raise _unanswered(self.place, error) from error

    def _prepare(self) -> None:
        """Make the tables when they are not there, and read which shared library this is."""
        cursor = self._connection.cursor()
        if cursor.execute(f"SELECT to_regclass('{self._schema}.shared')").fetchone() == (None,):
            self._create(cursor)
        identity, version = cursor.execute(f"SELECT id, format FROM {self._schema}.shared").fetchone() or (b"", 0)
        if version > FORMAT:
            raise LibraryTooNew("the shared library at {place} is of a newer meterlink: update this one", version, place=self.place)
        self.id = bytes(identity).hex()

    def _create(self, cursor: Any) -> None:
        with self._connection.transaction():
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", (_LOCK,))
            cursor.execute(f"CREATE SCHEMA IF NOT EXISTS {self._schema}")
            cursor.execute(f"CREATE TABLE IF NOT EXISTS {self._schema}.shared (id bytea NOT NULL, format int NOT NULL)")
            cursor.execute(
                f"INSERT INTO {self._schema}.shared SELECT %s, %s WHERE NOT EXISTS (SELECT 1 FROM {self._schema}.shared)",
                (os.urandom(16), FORMAT),
            )
            cursor.execute(
                f"CREATE TABLE IF NOT EXISTS {self._schema}.batch (no bigint PRIMARY KEY, stamp bytea NOT NULL, "
                "row_count int NOT NULL, byte_count bigint NOT NULL, at timestamptz NOT NULL DEFAULT now())"
            )
            for shared in self._tables.values():
                cursor.execute(_ddl(self._schema, shared))
                cursor.execute(f"CREATE INDEX IF NOT EXISTS {shared.name}_batch ON {self._schema}.{shared.name} (batch)")

    def stamp(self, batch: int) -> bytes:
        """Return the random stamp of a batch, empty when it is not there (the database was put back to an older state)."""
        row = self._connection.execute(f"SELECT stamp FROM {self._schema}.batch WHERE no = %s", (batch,)).fetchone()
        return bytes(row[0]) if row else b""

    def batches_after(self, batch: int) -> list[Batch]:
        """Return every batch after one, in order."""
        sql = f"SELECT no, row_count, byte_count, stamp FROM {self._schema}.batch WHERE no > %s ORDER BY no"
        return [Batch(no, rows, size, bytes(stamp)) for no, rows, size, stamp in self._connection.execute(sql, (batch,)).fetchall()]

    def rows(self, name: str, batches: Sequence[int]) -> list[tuple[Any, ...]]:
        """Return the rows of one table in some batches, in the order in which what they refer to comes first."""
        shared = self._tables[name]
        with self._connection.cursor(binary=True) as cursor:
            cursor.execute(
                f"SELECT {shared.names} FROM {self._schema}.{name} WHERE batch = ANY(%s) ORDER BY batch, {shared.key}",
                (list(batches),),
            )
            rows: list[tuple[Any, ...]] = cursor.fetchall()
            return rows

    def send(self, parts: Sequence[tuple[str, Sequence[Sequence[Any]]]]) -> tuple[int, bytes, int]:
        """Add rows of one or more tables as one batch; return its number, stamp, and how many rows were not there yet.

        First straight into the tables; where another client has sent some of the rows already, once more around them.
        """
        try:
            return self._send(parts, direct=True)
        except self._psycopg.errors.UniqueViolation:
            return self._send(parts, direct=False)

    def _send(self, parts: Sequence[tuple[str, Sequence[Sequence[Any]]]], *, direct: bool) -> tuple[int, bytes, int]:
        stamp, added = os.urandom(16), 0
        with self._connection.transaction(), self._connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", (_LOCK,))
            cursor.execute(f"SELECT coalesce(max(no), 0) + 1 FROM {self._schema}.batch")
            (batch,) = cursor.fetchone() or (1,)
            for name, rows in parts:
                shared = self._tables[name]
                if direct:
                    self._copy(cursor, f"{self._schema}.{name}", shared, rows, batch)
                    added += len(rows)
                else:
                    cursor.execute(f"CREATE TEMP TABLE incoming (LIKE {self._schema}.{name}) ON COMMIT DROP")
                    self._copy(cursor, "incoming", shared, rows, batch)
                    cursor.execute(f"INSERT INTO {self._schema}.{name} SELECT * FROM incoming ON CONFLICT DO NOTHING")
                    added += cursor.rowcount
                    cursor.execute("DROP TABLE incoming")
            size = sum(len(row[-1]) if name == "waveform" else 200 for name, rows in parts for row in rows)
            sql = f"INSERT INTO {self._schema}.batch (no, stamp, row_count, byte_count) VALUES (%s, %s, %s, %s)"
            cursor.execute(sql, (batch, stamp, added, size))
        return int(batch), stamp, added

    @staticmethod
    def _copy(cursor: Any, target: str, shared: Shared, rows: Iterable[Sequence[Any]], batch: int) -> None:
        with cursor.copy(f"COPY {target} ({shared.names}, batch) FROM STDIN (FORMAT BINARY)") as copy:
            copy.set_types([*(c.type for c in shared.columns), "int8"])
            for row in rows:
                copy.write_row((*row, batch))


def schema_of(studio: str) -> str:
    """Return the schema of a studio's shared library: each studio's records stay apart in one database.

    Raises ``UsageError`` for what is no name.
    """
    if not studio:
        return "meterlink"
    name = name_key(studio)
    if not is_name(studio) or len(name.encode()) > _STUDIO_BYTES_MAX:
        raise UsageError(
            "{studio!r} is no name of a studio: give one of at most {most} letters", studio=studio[:40], most=_STUDIO_BYTES_MAX
        )
    return f"meterlink_{name.encode().hex()}"


def _is_private(options: Mapping[str, Any]) -> bool:
    """Say whether the way to the server needs no encryption that we ask for: this machine, or the URL or the system says which."""
    if "sslmode" in options or "service" in options or os.environ.get("PGSSLMODE") or os.environ.get("PGSERVICE"):
        return True
    host = str(options.get("host") or options.get("hostaddr") or os.environ.get("PGHOST") or os.environ.get("PGHOSTADDR") or "")
    return all(not one or one.startswith(("/", "@")) or one == "localhost" or _is_loopback(one) for one in host.split(","))


def _is_loopback(host: str) -> bool:
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


def _unanswered(place: str, why: object) -> LibraryError:
    return LibraryError(
        "the shared library at {place} did not answer as it should ({typed}): nothing here is lost, sync again later",
        place=place, typed=" ".join(str(why).split())[:200],
    )


def _place(options: Mapping[str, Any]) -> str:
    """Where the shared library is, without user and password."""
    return (
        f"{options.get('host') or options.get('hostaddr') or options.get('service') or 'this machine'}/{options.get('dbname', '')}"
    )


def _ddl(schema: str, shared: Shared) -> str:
    not_null = {*TABLES[shared.name], "id"}
    columns = ", ".join(f"{c.shared} {c.type}{' NOT NULL' if c.local in not_null else ''}" for c in shared.columns)
    return f"CREATE TABLE IF NOT EXISTS {schema}.{shared.name} ({columns}, batch bigint NOT NULL, PRIMARY KEY ({shared.key}))"


def _psycopg() -> Any:
    try:
        import psycopg
    except ImportError:
        raise UsageError("sync needs the package psycopg: in meterlink's own folder, pip install '.[sync]'") from None
    return psycopg
