"""Merge and sync of 100,000 readings, and opening one set among a million.

Goals: merge within 3 × of a bulk insert of the same rows into the same tables, sync within 3 × of psycopg's COPY of the same rows,
opening and showing a set within 3 × of the bare queries.  The sync part needs PostgreSQL's programs (Debian: ``postgresql``) and
says so where they are missing.

Of the sync both halves are judged against the same reference, psycopg's COPY of these rows *into* a durable PostgreSQL table with
their key: that is what "within 3 × of COPY" says of 100,000 new readings, and it is as strict for the half that ends in the local
file.  Beside it stand the other ways to read it: COPY out alone, which writes nothing anywhere; and the floor of a fetch, COPY out
and then a bare bulk insert of the rows into the library's own table, as durable as a sync is.  The floor alone is near the goal,
because SQLite's durable insert with the table's CHECKs takes two to three times as long as the COPY by itself.
"""

from __future__ import annotations

import argparse
import itertools
import shutil
import sqlite3
import statistics
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from benchmarks.bench_library import million, searching
from benchmarks.side_by_side import Goal, print_goals, rounds_of
from meterlink.library import Library, rows, sync
from meterlink.library.merge import merge
from tests.library.postgres import cluster, missing

PARENTS = ("setup", "setup_version", "light", "light_version", "placement", "sensor", "calibration", "calibration_range")


def ratios(cases: dict[str, Callable[[], Any]], rounds: int) -> list[float]:
    """Return the median of the last case's time over that of each one before it, round by round."""
    *others, last = rounds_of(cases, rounds).values()
    print("  " + ", ".join(f"{name} {statistics.median(s):.2f} s" for name, s in zip(cases, [*others, last], strict=True)))
    return [statistics.median(b / a for a, b in zip(other, last, strict=True)) for other in others]


def ratio(cases: dict[str, Callable[[], Any]], rounds: int) -> float:
    """Return the median of the second case's time over the first one's, round by round."""
    (found,) = ratios(cases, rounds)
    return found


def merging(folder: Path, source: Path, rounds: int) -> Iterator[Goal]:
    """Compare a merge into an empty library with inserting the rows, already in memory, into the same tables in one transaction."""
    counter = itertools.count()
    with Library.open(source) as library:
        tables = {t: library.db.rows(f"SELECT * FROM {t}") for t in PARENTS}
        readings = library.db.rows(f"SELECT {', '.join(rows.READINGS.columns)} FROM reading")

    def fresh() -> Path:
        path = folder / f"fresh{next(counter)}.sqlite"
        Library.open(path).close()
        return path

    ready = [fresh() for _ in range(2 * rounds)]

    def bulk() -> None:
        with Library.open(ready.pop()) as library, library.db.write() as connection:
            for table, found in tables.items():
                connection.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * len(found[0]))})", found)
            connection.executemany(rows.READINGS.insert, readings)

    def merged() -> None:
        with Library.open(ready.pop()) as library:
            assert merge(library, source).readings == len(readings)

    yield Goal(f"merge of {len(readings)} readings / bulk insert", ratio({"bulk insert": bulk, "merge": merged}, rounds), "<=", 3)
    with Library.open(ready.pop() if ready else fresh()) as library:
        merge(library, source)
        found = ratio(
            {"bulk insert": lambda: bulk_again(folder, tables, readings), "merge again": lambda: merge(library, source)}, 3
        )
    print(f"  merging again (nothing new): {found:.2f} x the bulk insert")


def bulk_again(folder: Path, tables: dict[str, list[Any]], readings: list[Any]) -> None:
    """Insert everything once more into a new file."""
    path = folder / f"again{len(list(folder.iterdir()))}.sqlite"
    with Library.open(path) as library, library.db.write() as connection:
        for table, found in tables.items():
            connection.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * len(found[0]))})", found)
        connection.executemany(rows.READINGS.insert, readings)


def syncing(folder: Path, source: Path, rounds: int) -> Iterator[Goal]:
    """Send and fetch 100,000 new readings of sets that both sides know, beside COPY of the same rows into a table with that key."""
    if missing():
        print(f"sync not measured: {missing()}")
        return
    import psycopg

    with cluster(durable=True) as server, psycopg.connect(f"{server}/postgres", autocommit=True) as admin:
        admin.execute("CREATE DATABASE frame")
        known, full = frame(folder, source, f"{server}/frame")
        with Library.open(full) as library:
            shared = sync.shared_tables(library.db.connection)["reading"]
            found = library.db.rows(sync._select(shared, "1"))
            local = library.db.rows(f"SELECT {', '.join(rows.READINGS.columns)} FROM reading")
        kinds = [c.type for c in shared.columns]
        counter = itertools.count()

        def database(template: str) -> str:
            name = f"studio{next(counter)}"
            admin.execute(f"CREATE DATABASE {name} TEMPLATE {template}")
            return f"{server}/{name}"

        plain, again = ([database("template0") for _ in range(rounds)] for _ in range(2))
        for url in (*plain, *again):
            names = ", ".join(f"{c.shared} {c.type}" for c in shared.columns)
            run(url, f"CREATE TABLE plain ({names}, PRIMARY KEY ({shared.key}))")
        ready = [(database("frame"), shutil.copy(full, folder / f"sender{n}.sqlite")) for n in range(rounds)]
        takers = [shutil.copy(known, folder / f"taker{n}.sqlite") for n in range(3 * rounds)]
        used: list[str] = []

        def copied() -> None:
            used.append(plain.pop())
            with psycopg.connect(used[-1]) as connection, connection.cursor().copy("COPY plain FROM STDIN (FORMAT BINARY)") as copy:
                copy.set_types(kinds)
                for row in found:
                    copy.write_row(row)

        def sent() -> None:
            url, path = ready.pop()
            used.append(url)
            with Library.open(path) as library:
                assert sync.sync(library, url).sent == len(found)

        yield Goal(f"sync, {len(found)} new readings sent / COPY", ratio({"COPY": copied, "send": sent}, rounds), "<=", 3)
        done, held = (next(u for u in used if run(u, f"SELECT to_regclass('{t}')")[0][0]) for t in ("meterlink.batch", "plain"))

        def in_again() -> None:
            """The reference of the sending, beside the fetching."""
            plain.append(again.pop())
            copied()

        def out() -> None:
            with psycopg.connect(held) as connection, connection.cursor().copy("COPY plain TO STDOUT (FORMAT BINARY)") as copy:
                copy.set_types(kinds)
                assert sum(1 for _ in copy.rows()) == len(found)

        def bulk() -> None:
            with Library.open(takers.pop()) as library, library.db.write() as connection:
                connection.executemany(rows.READINGS.insert, local)

        def out_and_bulk() -> None:
            out()
            bulk()

        def fetched() -> None:
            with Library.open(takers.pop()) as library:
                assert sync.sync(library, done).fetched.readings == len(found)

        cases = {"COPY in": in_again, "COPY out": out, "insert": bulk, "COPY out + insert": out_and_bulk, "fetch": fetched}
        to_in, to_out, to_bulk, to_floor = ratios(cases, rounds)
        print(
            f"  fetch / COPY out alone {to_out:.2f}; / the bare durable insert {to_bulk:.2f}; / the floor (COPY out + insert) "
            f"{to_floor:.2f}; the floor / COPY in {to_in / to_floor:.2f}"
        )
        yield Goal(f"sync, {len(found)} new readings fetched / COPY (judged)", to_in, "<=", 3)
        yield Goal(f"sync, {len(found)} new readings fetched / floor", to_floor, "<=", 3)


def run(url: str, sql: str) -> list[Any]:
    """Run a statement in a PostgreSQL database."""
    import psycopg

    with psycopg.connect(url, autocommit=True) as connection:
        done = connection.execute(sql)
        return done.fetchall() if done.description else []


def frame(folder: Path, source: Path, url: str) -> tuple[Path, Path]:
    """Make a synced library with sets and lights but no readings, and a copy of it with all readings waiting to be sent."""
    known, full = folder / "known.sqlite", folder / "full.sqlite"
    shutil.copy(source, known)
    with Library.open(known) as library:
        with library.db.write() as connection:
            connection.execute("DELETE FROM reading")
        sync.sync(library, url)
        library.db.row("PRAGMA wal_checkpoint(TRUNCATE)")
    shutil.copy(known, full)
    with Library.open(full) as library:
        library.db.connection.execute("ATTACH ? AS source", (str(source),))
        with library.db.write() as connection:
            connection.execute("INSERT INTO reading SELECT * FROM source.reading")
    return known, full


def main() -> None:
    """Print name, ratio, goal, ok or short."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, default=100_000)
    parser.add_argument("--million", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--only", choices=("merge", "sync", "open"), help="measure this part alone")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=Path.cwd()) as name:
        folder = Path(name)
        source, _ = million(folder, options.readings)
        source = source.rename(folder / "source.sqlite")
        goals: list[Goal] = []
        if options.only in (None, "merge"):
            goals += merging(folder, source, options.rounds)
        if options.only in (None, "sync"):
            goals += syncing(folder, source, options.rounds)
        if options.only in (None, "open"):
            path, setup_id = million(folder, options.million)
            goals += [g for g in searching(path, setup_id, 41) if "open" in g.name]
    sys.exit(not print_goals(f"merge and sync (SQLite {sqlite3.sqlite_version})", goals))


if __name__ == "__main__":
    main()
