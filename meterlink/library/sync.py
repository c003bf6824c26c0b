"""Union of this library with a shared one in PostgreSQL, both ways: what either lacks is added, nothing is changed.

Sends first, then fetches, each in batches that are whole by themselves; what has been exchanged is noted with the batch, so
that a sync that is cut off anywhere goes on from there, and one that has nothing to do costs next to nothing.  Metering goes on
meanwhile: local transactions are short.  ``psycopg`` is an optional extra (``meterlink[sync]``).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, NamedTuple

from meterlink.errors import ImportRefused, UsageError
from meterlink.library.checking import problems
from meterlink.library.merge import Added
from meterlink.library.remote import Batch, Remote, Shared, shared_tables
from meterlink.library.store import Library

ROWS_AT_ONCE = 20_000
WAVEFORMS_AT_ONCE = 50
BYTES_AT_ONCE = 32 * 2**20
_FRAME = ("setup", "setup_version", "light", "light_version", "placement", "calibration", "calibration_range")
"""What readings refer to: sent in one batch, so that no set-up arrives without its name."""
_NUMBERED = (*_FRAME[:-1], "mark", "note", "waveform")
_VIEWS = {
    "sensor": "SELECT * FROM main.sensor",
    "calibration": "SELECT * FROM main.calibration",
    "note": "SELECT * FROM main.note",
    "light_version": "SELECT v.* FROM main.light_version v JOIN main.light l ON l.no = v.light_no "
    "WHERE l.setup_no IN (SELECT no FROM temp.touched)",
    "placement": "SELECT p.* FROM main.placement p JOIN main.light l ON l.no = p.light_no "
    "WHERE l.setup_no IN (SELECT no FROM temp.touched)",
    "setup": "SELECT * FROM main.setup WHERE no IN (SELECT no FROM temp.touched)",
    **{
        t: f"SELECT * FROM main.{t} WHERE setup_no IN (SELECT no FROM temp.touched)"
        for t in ("setup_version", "light", "reading", "pop", "waveform", "mark")
    },
}
"""The library narrowed to the sets that a batch touched: what is checked before the batch is kept."""


class Synced(NamedTuple):
    """What a sync did: records that the shared library lacked, and records that this one lacked."""

    sent: int
    fetched: Added


def sync(library: Library, url: str, progress: Callable[[str], None] = lambda _: None) -> Synced:
    """Unite the library with the shared one at ``postgresql://user@host/database``, both ways.

    ``progress`` gets a line of words now and then.  Raises ``LibraryError`` when the shared library cannot be reached or breaks
    off (nothing is lost, the next sync goes on), ``ImportRefused`` when it holds what does not hold together.
    """
    if not url.startswith(("postgresql://", "postgres://")):
        raise UsageError(f"{url[:60]!r} is no shared library: give a URL such as postgresql://studio@host/meterlink")
    tables = shared_tables(library.db.connection)
    remote = Remote(url, tables)
    try:
        with remote.spoken():
            state = State(library, remote)
            # One view of the library for the whole of the sending: what is metered meanwhile goes with the next sync.
            with Library.open(library.path, readonly=True) as view:
                view.db.connection.execute("BEGIN")
                sent = _send(view, remote, tables, state, progress)
            return Synced(sent, _fetch(library, remote, tables, state, progress))
    finally:
        remote.close()


class State:
    """What has been exchanged with one shared library, kept in the local file."""

    def __init__(self, library: Library, remote: Remote) -> None:
        self._db = library.db
        self.remote_id = remote.id
        seen, stamp = self.get("fetched")
        if seen and remote.stamp(seen) != stamp:
            with self._db.write() as connection:  # another past than the one we know: compare everything anew
                connection.execute("DELETE FROM sync_state WHERE remote = ?", (self.remote_id,))

    def get(self, part: str, setup_no: int = 0) -> tuple[int, bytes]:
        """Return (number, id or stamp) noted for a part, (0, b'') when nothing is."""
        row = self._db.row(
            "SELECT number, mark FROM sync_state WHERE remote = ? AND part = ? AND setup_no = ?", (self.remote_id, part, setup_no)
        )
        return (int(row[0]), bytes(row[1])) if row else (0, b"")

    def all(self, part: str) -> dict[int, tuple[int, bytes]]:
        """Return what is noted for a part by set-up (or batch) number."""
        found = self._db.rows("SELECT setup_no, number, mark FROM sync_state WHERE remote = ? AND part = ?", (self.remote_id, part))
        return {int(no): (int(number), bytes(mark)) for no, number, mark in found}

    def note(self, entries: Iterable[tuple[str, int, int, bytes]]) -> None:
        """Note (part, set-up or batch number, number, id or stamp) durably, or as part of the open transaction."""
        with self._db.write() as connection:
            connection.executemany(
                "INSERT INTO sync_state VALUES (?, ?, ?, ?, ?) ON CONFLICT (remote, part, setup_no) "
                "DO UPDATE SET number = excluded.number, mark = excluded.mark",
                [(self.remote_id, *entry) for entry in entries],
            )


# -- sending ----------------------------------------------------------------------------------------------------------


def _select(shared: Shared, where: str) -> str:
    """Return the SQL for local rows with ids in place of numbers; the table is ``t``."""
    columns, joins = [], []
    for c in shared.columns:
        if c.target:
            joins.append(f"LEFT JOIN main.{c.target} j_{c.local} ON j_{c.local}.no = t.{c.local}")
        key = "sensor_id" if c.target == "sensor" else "id"
        columns.append(f"j_{c.local}.{key}" if c.target else f"t.{c.local}")
    return f"SELECT {', '.join(columns)} FROM main.{shared.table.name} t {' '.join(joins)} WHERE {where}"


def _send(library: Library, remote: Remote, tables: dict[str, Shared], state: State, progress: Callable[[str], None]) -> int:
    db, sent = library.db, 0
    parts, marks = [], []
    for name in _FRAME:
        rows, entry = _new_rows(library, tables[name], state)
        parts.append((name, rows))
        marks += entry
    if any(rows for _, rows in parts):
        sent += _send_batch(remote, state, parts, marks)
    for readings, spans, marks in _new_readings(library, tables["reading"], state):
        pops = [pop for span in spans for pop in db.rows(_select(tables["pop"], _POPS_OF), span)]
        sent += _send_batch(remote, state, [("reading", readings), ("pop", pops)], marks)
        progress(f"{sent} records sent")
    parts, marks = [], []
    for name in ("mark", "note"):
        rows, entry = _new_rows(library, tables[name], state)
        parts.append((name, rows))
        marks += entry
    if any(rows for _, rows in parts):
        sent += _send_batch(remote, state, parts, marks)
    while True:
        rows, marks = _new_rows(library, tables["waveform"], state, WAVEFORMS_AT_ONCE)
        if not rows:
            return sent
        sent += _send_batch(remote, state, [("waveform", rows)], marks)
        progress(f"{sent} records sent")


_POPS_OF = "t.setup_no = ? AND t.reading_id > ? AND t.reading_id <= ?"
Entry = tuple[str, int, int, bytes]
Span = tuple[int, bytes, bytes]
"""Set-up, and the ids after which and up to which its readings are meant."""


def _send_batch(remote: Remote, state: State, parts: Sequence[tuple[str, list[Any]]], entries: list[Entry]) -> int:
    batch, stamp, added = remote.send([(name, rows) for name, rows in parts if rows])
    state.note([*entries, ("own", batch, batch, stamp)])
    return added


def _new_rows(library: Library, shared: Shared, state: State, limit: int = -1) -> tuple[list[Any], list[Entry]]:
    """Return the rows of a table since the last sync and what to note once they are sent."""
    name = shared.table.name
    if name == "calibration_range":
        seen, _ = state.get("calibration")
        return library.db.rows(_select(shared, "t.calibration_no > ? ORDER BY t.calibration_no"), (seen,)), []
    seen, _ = state.get(name)
    last = library.db.row(f"SELECT max(no) FROM (SELECT no FROM main.{name} WHERE no > ? ORDER BY no LIMIT ?)", (seen, limit))[0]
    if last is None:
        return [], []
    rows = library.db.rows(_select(shared, "t.no > ? AND t.no <= ? ORDER BY t.no"), (seen, last))
    return rows, [(name, 0, last, b"")]


def _new_readings(library: Library, shared: Shared, state: State) -> Iterator[tuple[list[Any], list[Span], list[Entry]]]:
    """Yield readings since the last sync, a good number at a time, with what to note once they are sent.

    Of a set whose readings so far are all sent only the later ones are read; where earlier ones came in (by a merge) the set is
    compared as a whole, which the shared library does by leaving out what it has.
    """
    noted = state.all("reading")
    pending: list[Any] = []
    spans: list[Span] = []
    entries: list[Entry] = []
    for setup_no, count in library.db.rows("SELECT setup_no, count(*) FROM reading GROUP BY setup_no"):
        sent, last = noted.get(setup_no, (0, b""))
        if count == sent:
            continue
        (before,) = library.db.row("SELECT count(*) FROM reading WHERE setup_no = ? AND id <= ?", (setup_no, last))
        if before != sent:
            last, before = b"", 0
        while rows := library.db.rows(
            _select(shared, "t.setup_no = ? AND t.id > ? ORDER BY t.id LIMIT ?"), (setup_no, last, ROWS_AT_ONCE - len(pending))
        ):
            pending += rows
            spans.append((setup_no, last, rows[-1][1]))
            last, before = rows[-1][1], before + len(rows)
            entries.append(("reading", setup_no, before, last))
            if len(pending) >= ROWS_AT_ONCE:
                yield pending, spans, entries
                pending, spans, entries = [], [], []
    if pending:
        yield pending, spans, entries


# -- fetching ---------------------------------------------------------------------------------------------------------


def _fetch(library: Library, remote: Remote, tables: dict[str, Shared], state: State, progress: Callable[[str], None]) -> Added:
    seen, _ = state.get("fetched")
    own, total = state.all("own"), Added()
    for chunk in _chunks(remote.batches_after(seen)):
        wanted = [b.no for b in chunk if own.get(b.no, (0, b""))[1] != b.stamp and b.row_count]
        arrived = {name: list(remote.rows(name, wanted)) for name in tables} if wanted else {}
        added = _keep(library, tables, arrived, state, chunk[-1])
        total = Added(*(a + b for a, b in zip(total, added, strict=True)))
        progress(f"{sum(total)} records fetched")
    library.keep_ids_growing()
    return total


def _chunks(batches: list[Batch]) -> Iterator[list[Batch]]:
    """Gather batches until they are worth a transaction."""
    chunk: list[Batch] = []
    for batch in batches:
        chunk.append(batch)
        if sum(b.row_count for b in chunk) >= ROWS_AT_ONCE or sum(b.byte_count for b in chunk) >= BYTES_AT_ONCE:
            yield chunk
            chunk = []
    if chunk:
        yield chunk


def _keep(library: Library, tables: dict[str, Shared], arrived: dict[str, list[Any]], state: State, batch: Batch) -> Added:
    """Add fetched rows and note the batch, in one transaction."""
    counts: dict[str, int] = {}
    with library.db.write() as connection:
        if any(arrived.values()):
            touched = {row[0] for row in arrived["reading"]}
            before = _sent_whole(library, state, touched)
            try:
                sensors = {s for t in ("reading", "calibration") for s in _column(tables[t], "sensor_no", arrived[t])}
                connection.executemany("INSERT INTO sensor (sensor_id) VALUES (?) ON CONFLICT DO NOTHING", [(s,) for s in sensors])
                for name, shared in tables.items():
                    counts[name] = _insert(connection, shared, arrived[name])
                _check(connection, tables, arrived)
            except (sqlite3.IntegrityError, OverflowError, UnicodeError) as error:
                raise ImportRefused(f"the shared library holds what cannot be ({error}), it was not taken: check it") from error
            _note_fetched(library, state, touched, before)
        state.note([("fetched", 0, batch.no, batch.stamp)])
        connection.execute(
            "DELETE FROM sync_state WHERE remote = ? AND part = 'own' AND setup_no <= ?", (state.remote_id, batch.no)
        )
    return Added(*(counts.get(f.removesuffix("s"), 0) for f in Added._fields))


def _column(shared: Shared, local: str, rows: list[Any]) -> set[Any]:
    """Return the different values of one column."""
    at = next(n for n, c in enumerate(shared.columns) if c.local == local)
    return {row[at] for row in rows}


def _insert(connection: sqlite3.Connection, shared: Shared, rows: list[Any]) -> int:
    """Add rows that come with ids; those that are here stay as they are.  Returns how many were new."""
    if not rows:
        return 0
    columns = list(zip(*rows, strict=True))
    for n, c in enumerate(shared.columns):
        if c.target:
            numbers = _numbers(connection, c.target, set(columns[n]))
            columns[n] = tuple(map(numbers.__getitem__, columns[n]))
    key, names = ", ".join(shared.table.key), ", ".join(c.local for c in shared.columns)
    done = connection.executemany(
        f"INSERT INTO main.{shared.table.name} ({names}) VALUES ({', '.join('?' * len(columns))}) ON CONFLICT ({key}) DO NOTHING",
        zip(*columns, strict=True),
    )
    return done.rowcount


def _numbers(connection: sqlite3.Connection, table: str, ids: set[Any]) -> dict[Any, int | None]:
    """Return this file's number for every id.  One that leads nowhere gets a number that no row has: foreign keys refuse it."""
    sql = f"SELECT no FROM main.{table} WHERE {'sensor_id' if table == 'sensor' else 'id'} = ?"
    found = {i: connection.execute(sql, (i,)).fetchone() for i in ids if i is not None}
    return {None: None, **{i: row[0] if row else -1 for i, row in found.items()}}


def _check(connection: sqlite3.Connection, tables: dict[str, Shared], arrived: dict[str, list[Any]]) -> None:
    """Look at the sets that were touched as a merge looks at a file.  Raises ``ImportRefused``."""
    ids = _column(tables["setup"], "id", arrived["setup"])
    for name in ("setup_version", "light", "reading", "mark", "waveform"):
        ids |= _column(tables[name], "setup_no", arrived[name])
    lights = {i for name in ("light_version", "placement") for i in _column(tables[name], "light_no", arrived[name])}
    connection.execute("CREATE TEMP TABLE touched (no INTEGER PRIMARY KEY)")
    try:
        connection.executemany("INSERT OR IGNORE INTO touched SELECT no FROM main.setup WHERE id = ?", [(i,) for i in ids])
        connection.executemany("INSERT OR IGNORE INTO touched SELECT setup_no FROM main.light WHERE id = ?", [(i,) for i in lights])
        for name, sql in _VIEWS.items():
            connection.execute(f"CREATE TEMP VIEW {name} AS {sql}")
        for problem in problems(connection, "temp"):
            raise ImportRefused(f"the shared library holds what does not hold together ({problem}), it was not taken: check it")
    finally:
        for name in _VIEWS:
            connection.execute(f"DROP VIEW IF EXISTS temp.{name}")
        connection.execute("DROP TABLE temp.touched")


_COUNTS = "SELECT s.no, count(r.id), max(r.id) FROM setup s LEFT JOIN reading r ON r.setup_no = s.no WHERE s.id = ?"


def _sent_whole(library: Library, state: State, setup_ids: Iterable[bytes]) -> tuple[set[str], set[bytes]]:
    """Return the tables and the sets of which every row that is here was sent already."""
    tables = {name for name in _NUMBERED if (library.db.row(f"SELECT max(no) FROM {name}")[0] or 0) <= state.get(name)[0]}
    sets = set()
    for identifier in setup_ids:
        no, count, _ = library.db.row(_COUNTS, (identifier,))
        if no is None or state.get("reading", no)[0] == count:
            sets.add(identifier)
    return tables, sets


def _note_fetched(library: Library, state: State, setup_ids: Iterable[bytes], whole: tuple[set[str], set[bytes]]) -> None:
    """What was fetched need not be sent back: move the notes past it wherever nothing else was waiting."""
    tables, sets = whole
    entries: list[Entry] = [(name, 0, library.db.row(f"SELECT max(no) FROM {name}")[0] or 0, b"") for name in tables]
    for identifier in setup_ids:
        if identifier in sets:
            no, count, last = library.db.row(_COUNTS, (identifier,))
            entries.append(("reading", no, count, last))
    state.note(entries)
