"""The receiving half of ``sync``: what a shared library holds that this one lacks, checked as a merge checks a file.

Batches come in chunks, each kept in one short transaction together with the note of how far we are.  Nothing of a chunk is kept
when any row of it cannot be: the tables' own CHECKs and keys refuse values; what belongs together and what texts may hold is
looked at by set, whole: the sets of which anything came, or that what came names (``checking.problems``).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

from meterlink.errors import ImportRefused
from meterlink.library.checking import problems
from meterlink.library.merge import READERS, TABLES, Added
from meterlink.library.remote import Batch, Remote, Shared
from meterlink.library.rows import marks
from meterlink.library.store import Library
from meterlink.words.told import Told, told

Entry = tuple[str, int, int, bytes]
"""Part, set-up or batch number, number, id or stamp: see ``State``."""
BYTES_AT_ONCE = 32 * 2**20
Columns = dict[str, tuple[Any, ...]]
"""Column -> its values, in the order of the rows; empty for no rows."""
IDS_AT_ONCE = 500
_OF_LIGHTS = "JOIN main.light l ON l.no = {t}.light_no WHERE l.setup_no IN (SELECT no FROM temp.touched)"
_VIEWS = {
    "light_version": "SELECT v.* FROM main.light_version v " + _OF_LIGHTS.format(t="v"),
    "placement": "SELECT p.* FROM main.placement p " + _OF_LIGHTS.format(t="p"),
    "setup": "SELECT * FROM main.setup WHERE no IN (SELECT no FROM temp.touched)",
    **{
        t: f"SELECT * FROM main.{t} WHERE setup_no IN (SELECT no FROM temp.touched)"
        for t in ("setup_version", "light", "reading", "pop", "waveform", "mark")
    },
}
"""The library narrowed to the sets that a batch touched: what is checked before the batch is kept."""
_WHOLE = ("sensor", "calibration", "calibration_range", "note")
"""What belongs to no set: looked at when some of it came."""
_NUMBERED = ("setup", "setup_version", "light", "light_version", "placement", "calibration", "mark", "note", "waveform")


class State:
    """What has been exchanged with one shared library, kept in the local file."""

    def __init__(self, library: Library, remote: Remote) -> None:
        self._db = library.db
        self.remote_id = remote.id
        # The latest batches that we sent and that we fetched: where the server has one of them not, it was put back to an older
        # state, and what we remember of sending says nothing any more.
        own = self.all("own")
        known = [self.get("fetched"), own[max(own)]] if own else [self.get("fetched")]
        if any(no and remote.stamp(no) != stamp for no, stamp in known):
            with self._db.write() as connection:  # another past than the one we know: compare everything anew
                connection.execute("DELETE FROM sync_state WHERE remote = ?", (self.remote_id,))

    def get(self, part: str) -> tuple[int, bytes]:
        """Return (number, id or stamp) noted for a part as a whole, (0, b'') when nothing is."""
        return self.all(part).get(0, (0, b""))

    def all(self, part: str) -> dict[int, tuple[int, bytes]]:
        """Return what is noted for a part by set-up (or batch) number."""
        found = self._db.rows("SELECT setup_no, number, mark FROM sync_state WHERE remote = ? AND part = ?", (self.remote_id, part))
        return {int(no): (int(number), bytes(mark)) for no, number, mark in found}

    def note(self, entries: Iterable[Entry]) -> None:
        """Note (part, set-up or batch number, number, id or stamp) durably, or as part of the open transaction."""
        with self._db.write() as connection:
            rows = [(self.remote_id, *entry) for entry in entries]
            connection.executemany("INSERT OR REPLACE INTO sync_state VALUES (?, ?, ?, ?, ?)", rows)


# -- fetching ---------------------------------------------------------------------------------------------------------


def fetch(
    library: Library, remote: Remote, tables: dict[str, Shared], state: State, rows_at_once: int, progress: Callable[[Told], None]
) -> Added:
    """Add what the shared library has and this one lacks, about ``rows_at_once`` at a time; return how much that was.

    Raises ``ImportRefused`` for what cannot be; the chunks before it are kept, nothing of its own chunk is.
    """
    seen, _ = state.get("fetched")
    own, total = state.all("own"), Added()
    known: Known = {}
    backed_up = False
    for chunk in _chunks(remote.batches_after(seen), rows_at_once):
        wanted = [b.no for b in chunk if own.get(b.no, (0, b""))[1] != b.stamp and b.row_count]
        arrived = {name: remote.rows(name, wanted) for name in tables} if wanted else {}
        if any(arrived.values()) and not backed_up:
            library.back_up("sync")
            backed_up = True
        added = keep(library, tables, arrived, state, chunk[-1], known)
        total = Added(*(a + b for a, b in zip(total, added, strict=True)))
        progress(told("records_fetched", count=sum(total)))
    library.keep_ids_growing()
    return total


def _chunks(batches: list[Batch], rows_at_once: int) -> Iterator[list[Batch]]:
    """Gather batches until they are worth a transaction."""
    chunk: list[Batch] = []
    for batch in batches:
        chunk.append(batch)
        if sum(b.row_count for b in chunk) >= rows_at_once or sum(b.byte_count for b in chunk) >= BYTES_AT_ONCE:
            yield chunk
            chunk = []
    if chunk:
        yield chunk


Known = dict[str, dict[Any, "int | None"]]
"""Table -> id -> this file's number, as far as looked up during one fetch."""


def keep(
    library: Library, tables: dict[str, Shared], arrived: dict[str, list[Any]], state: State, batch: Batch, known: Known
) -> Added:
    """Add fetched rows and note the batch, in one transaction."""
    counts: dict[str, int] = {}
    with library.db.write() as connection:
        if any(arrived.values()):
            for name in READERS:
                arrived[name] = list(filter(readable(tables[name]), arrived[name]))
            try:
                before = _sent_whole(connection, state, arrived["reading"])
                sensors = {s for t in ("reading", "calibration") for s in _column(tables[t], "sensor_no", arrived[t])}
                sql = "INSERT INTO sensor (sensor_id) VALUES (?) ON CONFLICT DO NOTHING"
                connection.executemany(sql, [(s,) for s in sensors])
                came = {}
                for name, shared in tables.items():
                    came[name] = _numbered(connection, shared, arrived[name], known)
                    counts[name] = _insert(connection, shared, came[name])
                _check(connection, came)
            except _WRONG as error:
                raise ImportRefused(
                    "the shared library holds what cannot be ({error}), it was not taken: check it", error=error
                ) from error
            _note_fetched(connection, state, *before)
        state.note([("fetched", 0, batch.no, batch.stamp)])
        connection.execute(
            "DELETE FROM sync_state WHERE remote = ? AND part = 'own' AND setup_no <= ?", (state.remote_id, batch.no)
        )
    return Added(*(counts.get(f.removesuffix("s"), 0) for f in Added._fields))


def readable(shared: Shared) -> Callable[[Any], bool]:
    """Return what says whether a row of waveforms or notes can be read."""
    good, *asked = READERS[shared.name]
    first, second = (shared.at(name) for name in asked)
    return lambda row: good(row[first], row[second])


_WRONG = (
    sqlite3.IntegrityError, sqlite3.DataError, sqlite3.InterfaceError, sqlite3.ProgrammingError, OverflowError, UnicodeError,
    TypeError,
)  # fmt: skip
"""What a row raises that cannot be (a ProgrammingError: a value of a kind that no column has)."""


def _column(shared: Shared, local: str, rows: list[Any]) -> set[Any]:
    """Return the different values of one column."""
    at = shared.at(local)
    return {row[at] for row in rows}


def _numbered(connection: sqlite3.Connection, shared: Shared, rows: list[Any], known: Known) -> Columns:
    """Turn rows that come with ids into columns with this file's numbers."""
    if not rows:
        return {}
    columns = dict(zip((c.local for c in shared.columns), zip(*rows, strict=True), strict=True))
    for c in shared.columns:
        if c.target:
            numbers = _numbers(connection, c.target, set(columns[c.local]), known)
            columns[c.local] = tuple(map(numbers.__getitem__, columns[c.local]))
    return columns


def _insert(connection: sqlite3.Connection, shared: Shared, columns: Columns) -> int:
    """Add rows; those that are here stay as they are.  Returns how many were new."""
    if not columns:
        return 0
    done = connection.executemany(
        f"INSERT INTO main.{shared.name} ({', '.join(columns)}) VALUES ({marks(columns)}) "
        f"ON CONFLICT ({', '.join(TABLES[shared.name])}) DO NOTHING",
        zip(*columns.values(), strict=True),
    )
    return done.rowcount


def _numbers(connection: sqlite3.Connection, table: str, ids: set[Any], known: Known) -> dict[Any, int | None]:
    """Return this file's number for every id.  Raises ``ImportRefused`` for one that leads nowhere."""
    numbers = known.setdefault(table, {None: None})
    (key,) = TABLES[table]
    numbers.update(_looked_up(connection, table, "no", ids - numbers.keys(), by=key))
    if nowhere := ids - numbers.keys():
        shown = str(next(iter(nowhere)))[:60]
        raise ImportRefused(
            "the shared library names a {table} that is not there ({shown}), it was not taken: check it", table=table, shown=shown
        )
    return numbers


Counted = dict[bytes, tuple[int, int, "bytes | None"]]
"""Set-up's id -> its number, how many readings it has here, and the last one's id."""


def _counted(connection: sqlite3.Connection, setup_ids: Sequence[bytes]) -> Counted:
    found: Counted = {}
    for part in _parts(setup_ids):
        sql = (
            "SELECT s.id, s.no, count(r.id), max(r.id) FROM setup s LEFT JOIN reading r ON r.setup_no = s.no "
            f"WHERE s.id IN ({marks(part)}) GROUP BY s.no"
        )
        found.update((i, (no, count, last)) for i, no, count, last in connection.execute(sql, part))
    return found


def _sent_whole(connection: sqlite3.Connection, state: State, readings: list[Any]) -> tuple[set[str], set[bytes]]:
    """Return the tables, and the sets that the readings are of, of which every row that is here was sent already."""
    tables = {name for name in _NUMBERED if _last(connection, name) <= state.get(name)[0]}
    touched = {row[0] for row in readings}
    noted, counted = state.all("reading"), _counted(connection, list(touched))
    return tables, touched - {i for i, (no, count, _) in counted.items() if noted.get(no, (0, b""))[0] != count}


def _last(connection: sqlite3.Connection, table: str) -> int:
    return int(connection.execute(f"SELECT max(no) FROM main.{table}").fetchone()[0] or 0)


def _note_fetched(connection: sqlite3.Connection, state: State, tables: set[str], sets: Iterable[bytes]) -> None:
    """What was fetched need not be sent back: move the notes past it wherever nothing else was waiting."""
    entries: list[Entry] = [(name, 0, _last(connection, name), b"") for name in tables]
    after = _counted(connection, list(sets)).values()
    state.note([*entries, *(("reading", no, count, last) for no, count, last in after if last is not None)])


# -- checking ---------------------------------------------------------------------------------------------------------


def _check(connection: sqlite3.Connection, came: Mapping[str, Columns]) -> None:
    """Look at what came, already added and numbered.  Raises ``ImportRefused`` for what does not hold together."""
    connection.execute("CREATE TEMP TABLE touched (no INTEGER PRIMARY KEY)")
    try:
        connection.executemany("INSERT INTO touched VALUES (?)", [(no,) for no in _touched(connection, came)])
        for name, sql in _VIEWS.items():
            connection.execute(f"CREATE TEMP VIEW {name} AS {sql}")
        for name in _WHOLE:
            looked_at = name == "sensor" or came.get(name)
            connection.execute(f"CREATE TEMP VIEW {name} AS SELECT * FROM main.{name}{'' if looked_at else ' WHERE 0'}")
        for problem in problems(connection, "temp"):
            raise ImportRefused(
                "the shared library holds what does not hold together ({problem}), it was not taken: check it", problem=problem
            )
    finally:
        for name in (*_VIEWS, *_WHOLE):
            connection.execute(f"DROP VIEW IF EXISTS temp.{name}")
        connection.execute("DROP TABLE temp.touched")


def _touched(connection: sqlite3.Connection, came: Mapping[str, Columns]) -> set[int]:
    """Return the sets (numbers) that have to be looked at whole."""
    touched = {no for columns in came.values() for no in columns.get("setup_no", ())}
    lights = {no for columns in came.values() for name in ("light_no", "source_light_no") for no in columns.get(name, ())}
    lights.update(_looked_up(connection, "placement", "light_no", set(came["reading"].get("placement_no", ()))).values())
    touched.update(_looked_up(connection, "light", "setup_no", lights).values())
    touched.update(_looked_up(connection, "setup", "no", came["setup"].get("id", ()), by="id").values())
    return touched


def _looked_up(connection: sqlite3.Connection, table: str, column: str, keys: Iterable[Any], by: str = "no") -> dict[Any, int]:
    """Return a column of a table's rows by their numbers, or by another column that names them."""
    found: dict[Any, int] = {}
    for part in _parts([key for key in keys if key is not None]):
        found.update(connection.execute(f"SELECT {by}, {column} FROM main.{table} WHERE {by} IN ({marks(part)})", part).fetchall())
    return found


def _parts(ids: Sequence[Any]) -> Iterator[Sequence[Any]]:
    """Yield ids in numbers that one statement takes."""
    for start in range(0, len(ids), IDS_AT_ONCE):
        yield ids[start : start + IDS_AT_ONCE]
