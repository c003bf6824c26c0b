"""Union of this library with a shared one in PostgreSQL, both ways: what either lacks is added, nothing is changed.

Sends first, then fetches, each in batches that are whole by themselves; what has been exchanged is noted with the batch, so
that a sync that is cut off anywhere goes on from there, and one that has nothing to do costs next to nothing.  Metering goes on
meanwhile: local transactions are short.  ``psycopg`` is an optional extra (``.[sync]``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from typing import Any, NamedTuple

from meterlink.errors import UsageError
from meterlink.library.fetching import Entry, State, fetch, readable
from meterlink.library.merge import TABLES, Added
from meterlink.library.remote import Remote, Shared, shared_tables
from meterlink.library.store import Library
from meterlink.words.actions import Do
from meterlink.words.told import Told, told

ROWS_AT_ONCE = 20_000
WAVEFORMS_AT_ONCE = 50
_FRAME = ("setup", "setup_version", "light", "light_version", "placement", "calibration", "calibration_range")
"""What readings refer to: sent in one batch, so that no set-up arrives without its name."""


class Synced(NamedTuple):
    """What a sync did: records that the shared library lacked, and records that this one lacked."""

    sent: int
    fetched: Added


def sync(library: Library, url: str, progress: Callable[[Told], None] = lambda _: None, *, studio: str = "") -> Synced:
    """Unite the library with the shared one at ``postgresql://user@host/database``, both ways.

    ``studio`` keeps the libraries of several studios in one database apart.  ``progress`` gets a line of words now and then.
    Raises ``LibraryError`` when the shared library cannot be reached or breaks off (nothing is lost, the next sync goes on),
    ``ImportRefused`` when it holds what does not hold together.
    """
    if not url.startswith(("postgresql://", "postgres://")):
        # What was typed is not repeated: it may hold a password.
        raise UsageError(
            "this is no URL of a shared library: give one such as postgresql://studio@host/meterlink; a library file: {do}",
            do=Do("merge"),
        )
    tables = shared_tables(library.db.connection)
    with closing(Remote(url, tables, studio)) as remote, remote.spoken():
        state = State(library, remote)
        # One view of the library for the whole of the sending: what is metered meanwhile goes with the next sync.
        with Library.open(library.path, readonly=True) as view:
            view.db.connection.execute("BEGIN")
            sent = _send(view, remote, tables, state, progress)
        return Synced(sent, fetch(library, remote, tables, state, ROWS_AT_ONCE, progress))


# -- sending ----------------------------------------------------------------------------------------------------------


def _select(shared: Shared, where: str) -> str:
    """Return the SQL for local rows with ids in place of numbers; the table is ``t``."""
    columns, joins = [], []
    for c in shared.columns:
        if c.target:
            joins.append(f"LEFT JOIN main.{c.target} j_{c.local} ON j_{c.local}.no = t.{c.local}")
        columns.append(f"j_{c.local}.{TABLES[c.target][0]}" if c.target else f"t.{c.local}")
    return f"SELECT {', '.join(columns)} FROM main.{shared.name} t {' '.join(joins)} WHERE {where}"


def _send(library: Library, remote: Remote, tables: dict[str, Shared], state: State, progress: Callable[[Told], None]) -> int:
    def send_new(names: Sequence[str]) -> int:
        found = {name: _new_rows(library, tables[name], state) for name in names}
        parts = [(name, rows) for name, (rows, _) in found.items()]
        entries = [entry for _, several in found.values() for entry in several]
        return _send_batch(remote, state, parts, entries) if any(rows for _, rows in parts) else 0

    db, sent = library.db, send_new(_FRAME)
    for readings, spans, marks in _new_readings(library, tables["reading"], state):
        pops = [pop for span in spans for pop in db.rows(_select(tables["pop"], _POPS_OF), span)]
        sent += _send_batch(remote, state, [("reading", readings), ("pop", pops)], marks)
        progress(told("records_sent", count=sent))
    sent += send_new(("mark", "note"))
    while True:
        rows, marks = _new_rows(library, tables["waveform"], state, WAVEFORMS_AT_ONCE)
        if not rows:
            return sent
        sent += _send_batch(remote, state, [("waveform", _whole(rows, tables["waveform"], progress))], marks)
        progress(told("records_sent", count=sent))


def _whole(rows: list[Any], shared: Shared, tell: Callable[[Told], None]) -> list[Any]:
    """Return the waveforms that can be unpacked; the others are named and left out."""
    good, kept = readable(shared), []
    for row in rows:
        if good(row):
            kept.append(row)
        else:
            tell(told("left_out_of_sync", reading=row[shared.at("reading_id")].hex()))
    return kept


_POPS_OF = "t.setup_no = ? AND t.reading_id > ? AND t.reading_id <= ?"
Span = tuple[int, bytes, bytes]
"""Set-up, and the ids after which and up to which its readings are meant."""


def _send_batch(remote: Remote, state: State, parts: Sequence[tuple[str, list[Any]]], entries: list[Entry]) -> int:
    batch, stamp, added = remote.send([(name, rows) for name, rows in parts if rows])
    state.note([*entries, ("own", batch, batch, stamp)])
    return added


def _new_rows(library: Library, shared: Shared, state: State, limit: int = -1) -> tuple[list[Any], list[Entry]]:
    """Return the rows of a table since the last sync and what to note once they are sent."""
    name = shared.name
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
