"""The library: cost of a durable reading, of finding one set among a million readings, and bytes a reading.

Goals: a durable reading at most 1.9 × an append + fsync of the same bytes; a set of 20 lights out of a million
readings at least 80 × faster than unindexed; opening and showing it at most 3 × the bare query; about 120 bytes a
reading besides waveforms.
"""

from __future__ import annotations

import argparse
import json
import os
import sqlite3
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from benchmarks.side_by_side import Goal, print_goals, ratios
from meterlink.library import Library, rows
from meterlink.records import Calibration, Light, Placement, Pop, RangeScale, Reading, Setup, new_id

LIGHTS = 20
PER_LIGHT = 5
BATCH = 20
"""Durable writes timed together, each with its own sync: a single one drowns in the noise of the disk."""
TABLES = ("setup", "setup_version", "light", "light_version", "placement")


def a_set(library: Library, name: str, calibration_id: str, *, heads: bool = False) -> list[Reading]:
    """Store a set of 20 lights and return one reading for each, not stored."""
    setup = Setup(new_id(), name, time.time())
    library.add_setup(setup)
    readings = []
    for n in range(LIGHTS):
        light = Light(new_id(), setup.id, f"Light {n}", "other", order=n, fixture=f"head {n}" if heads else "")
        library.add_light(light)
        placement = Placement(new_id(), light.id, time.time(), "disk", 0.9, None, 1.4, power_text="1/4", power_stops=-2.0)
        library.add_placement(placement)
        readings.append(a_reading(setup.id, light.id, placement.id, calibration_id, n))
    return readings


def a_reading(setup_id: str, light_id: str | None, placement_id: str | None, calibration_id: str, n: int) -> Reading:
    """Make a usual flash reading with all its figures and a declared held-off distance on every second one."""
    pop = Pop(3.0 + n / 7, 0.004 + n / 9e4, 3.1e4 + n / 3, 4.1e-4 + n / 7e7, 1.3e-3 + n / 7e6, 51.2 + n / 11, False, 1)
    return Reading(
        new_id(), setup_id, light_id, placement_id, calibration_id, "dome-0123456789ab", time.time(),
        exposure_lxs=pop[0],
        held_off_m=0.2 if n % 2 else None, u_rel=pop[1], pops=(pop,), peak_lx=pop[2], t05_s=pop[3], t01_s=pop[4],
        ambient_lx=pop[5], range_index=1,
    )  # fmt: skip


def a_calibration(library: Library) -> str:
    """Store a calibration and return its id."""
    calibration = Calibration(new_id(), "dome-0123456789ab", time.time(), 330.0, ranges=(RangeScale(1e5), RangeScale(1e3)))
    library.add_calibration(calibration)
    return calibration.id


def durable(folder: Path, rounds: int) -> Iterator[Goal]:
    """Compare one durable reading with an append + fsync of its JSON line, and with one INSERT of the same row."""
    with Library.open(folder / "durable.sqlite") as library, (folder / "lines").open("ab", buffering=0) as lines:
        first = a_set(library, "One", a_calibration(library))[0]
        library.add_reading(first)
        numbers = library._numbers_of(first)
        line = (json.dumps(first._asdict()) + "\n").encode()

        def reading() -> None:
            for _ in range(BATCH):
                library.add_reading(first._replace(id=new_id(), taken_at_s=time.time()))

        def bare() -> None:
            for _ in range(BATCH):
                with library.db.write() as connection:
                    connection.execute(rows.READINGS.insert, rows.READINGS.row(first._replace(id=new_id()), *numbers))

        def append() -> None:
            for _ in range(BATCH):
                lines.write(line)
                os.fsync(lines.fileno())

        found = ratios({"append": append, "reading": reading, "bare": bare}, rounds)
    print(f"one bare INSERT of the ready row in its own transaction: {found['bare']:.2f} x append + fsync")
    yield Goal("durable reading / append + fsync of the same bytes", found["reading"], "<=", 1.9)


def million(folder: Path, count: int, *, heads: bool = False) -> tuple[Path, str]:
    """Fill a library with ``count`` readings, five a light, 20 lights a set; return it and the id of a middle set.

    The first set goes in through the API; the others are its rows with other ids and numbers, in bulk.
    ``heads``: every light's head has a name.
    """
    path = folder / "million.sqlite"
    sets = max(2, count // (LIGHTS * PER_LIGHT))
    with Library.open(path) as library:
        readings = a_set(library, "Set 0", a_calibration(library), heads=heads)
        with library.db.write() as connection:
            template = [list(rows.READINGS.row(r, *library._numbers_of(r))) for r in readings]
            parts = {t: [list(r) for r in connection.execute(f"SELECT * FROM {t}")] for t in TABLES}
            for n in range(1, sets):
                add_copy(connection, n, parts)
            for n in range(sets):
                connection.executemany(rows.READINGS.insert, reading_copies(n, template))
        return path, next(s.id for s in library.setups(search=f"Set {sets // 2}") if s.name == f"Set {sets // 2}")


def add_copy(connection: sqlite3.Connection, n: int, parts: dict[str, list[list[Any]]]) -> None:
    """Insert the n-th copy of the first set: rows shifted by whole sets of numbers, new ids."""
    for table, originals in parts.items():
        shift = n * len(originals)
        values = [list(row) for row in originals]
        for row in values:
            row[0] += shift
            row[1] = bytes.fromhex(new_id())
            if table in ("setup_version", "light"):
                row[2] += n
            elif table != "setup":
                row[2] += n * LIGHTS
            if table == "setup_version":
                row[3:5] = [f"Set {n}", f"set {n}"]
        connection.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * len(values[0]))})", values)


def reading_copies(n: int, template: list[list[Any]]) -> Iterator[list[Any]]:
    """Yield the readings of the n-th set, light after light, several times round."""
    for turn in range(PER_LIGHT):
        for row in template:
            light, placement = row[1] + n * LIGHTS, row[2] + n * LIGHTS
            yield [row[0] + n, light, placement, *row[3:5], bytes.fromhex(new_id()), row[6] + n * 60 + turn, *row[7:]]


def searching(path: Path, setup_id: str, rounds: int) -> Iterator[Goal]:
    """Find the 20 lights' readings of one set: by key, by scanning, and through the whole API from a closed file."""
    columns = ", ".join(rows.READINGS.columns)
    with Library.open(path) as library:
        connection = library.db.connection
        no = library._setup_no(setup_id)
        keyed = f"SELECT {columns} FROM reading WHERE setup_no = ?"
        scan = f"SELECT {columns} FROM reading WHERE +setup_no = ?"
        assert len(connection.execute(keyed, (no,)).fetchall()) == LIGHTS * PER_LIGHT
        found = ratios(
            {
                "keyed": lambda: connection.execute(keyed, (no,)).fetchall(),
                "scan": lambda: connection.execute(scan, (no,)).fetchall(),
            },
            max(5, rounds // 4),
        )
        yield Goal("a set of 20 lights among all readings: scan / by key", found["scan"], ">=", 80)

    def bare() -> None:
        other = sqlite3.connect(path)
        (number,) = other.execute("SELECT no FROM setup WHERE id = ?", (bytes.fromhex(setup_id),)).fetchone()
        other.execute(keyed, (number,)).fetchall()
        other.execute("SELECT * FROM light l JOIN light_version v ON v.light_no = l.no WHERE setup_no = ?", (number,)).fetchall()
        other.execute("SELECT p.* FROM light l JOIN placement p ON p.light_no = l.no WHERE setup_no = ?", (number,)).fetchall()
        other.close()

    def shown() -> None:
        with Library.open(path) as opened:
            opened.setup(setup_id)
            opened.lights(setup_id)
            opened.current_placements(setup_id)
            opened.readings(setup_id)

    found = ratios({"bare": bare, "shown": shown}, rounds)
    yield Goal("open and read a set / bare connection and queries", found["shown"], "<=", 3)


def sizes(path: Path, count: int) -> Iterator[Goal]:
    """State the bytes of a reading and what they are, from the pages that SQLite uses and from the rows' own layout."""
    connection = sqlite3.connect(path)
    (page_size,) = connection.execute("PRAGMA page_size").fetchone()
    used = pages(connection, "reading") * page_size / count
    compacted = sqlite3.connect("")
    connection.backup(compacted)
    compacted.execute("VACUUM")
    packed = pages(compacted, "reading") * page_size / count
    compacted.close()
    columns = ", ".join(rows.READINGS.columns)
    sample = connection.execute(f"SELECT {columns} FROM reading WHERE setup_no % 97 = 5 LIMIT 20000").fetchall()
    connection.close()
    figures = [sum(stored_bytes(v) for v in row if isinstance(v, float)) for row in sample]
    bodies = [sum(map(stored_bytes, row)) for row in sample]
    reals, body = sum(figures) / len(sample), sum(bodies) / len(sample)
    parts = {
        "figures (8-byte floats)": reals,
        "id": 16,
        "small integers (set, light, place, calibration, sensor, codes)": body - reals - 16,
        "row header, one byte a column": 1 + len(sample[0]),
        "cell pointer and length": 4,
    }
    parts["inner pages and what pages leave free when packed"] = packed - sum(parts.values())
    parts["room that growing leaves in pages"] = used - packed
    print("a reading's bytes: " + ", ".join(f"{size:.0f} {name}" for name, size in parts.items()))
    print(f"bytes a reading as the file grows: {used:.0f}, after VACUUM: {packed:.0f}")
    yield Goal("bytes a reading, pages packed", packed, "<=", 120)


def pages(connection: sqlite3.Connection, table: str) -> int:
    """Count the pages of one table by what dropping it frees in a copy (dbstat is not built in everywhere)."""
    copy = sqlite3.connect("")
    connection.backup(copy)
    copy.execute("PRAGMA foreign_keys=OFF")
    (before,) = copy.execute("PRAGMA page_count").fetchone()
    (free,) = copy.execute("PRAGMA freelist_count").fetchone()
    copy.execute(f"DROP TABLE {table}")
    (free_after,) = copy.execute("PRAGMA freelist_count").fetchone()
    copy.close()
    assert before
    return int(free_after - free)


def stored_bytes(value: Any) -> int:
    """Return the bytes that SQLite's record format takes for a value (its file format document, section 2.1)."""
    if value is None or value in (0, 1):
        return 0
    if isinstance(value, float):
        return stored_bytes(int(value)) if value.is_integer() else 8  # whole figures are stored as integers
    if isinstance(value, int):
        return next(n for n in (1, 2, 3, 4, 6, 8) if -(1 << (8 * n - 1)) <= value < 1 << (8 * n - 1))
    return len(value)


def main() -> None:
    """Print name, ratio, goal, ok or short."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=101)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=Path.cwd()) as name:
        folder = Path(name)
        goals = list(durable(folder, options.rounds))
        path, setup_id = million(folder, options.readings)
        goals += searching(path, setup_id, options.rounds)
        goals += sizes(path, options.readings)
    sys.exit(not print_goals(f"library of {options.readings} readings", goals))


if __name__ == "__main__":
    main()
