"""Checking what came from a shared library, inside the transaction that added it: only what came, not what was here already.

The tables' own CHECKs have judged each value by then.  What is left is what belongs together and what texts may hold: sets of
which anything came, or that what came names, are looked at whole, as a merge looks at a file (``checking.problems``).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from meterlink.errors import ImportRefused
from meterlink.library.checking import problems
from meterlink.library.rows import marks

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


def check(connection: sqlite3.Connection, came: Mapping[str, Columns]) -> None:
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
    lights.update(looked_up(connection, "placement", "light_no", set(came["reading"].get("placement_no", ()))).values())
    touched.update(looked_up(connection, "light", "setup_no", lights).values())
    touched.update(looked_up(connection, "setup", "no", came["setup"].get("id", ()), by="id").values())
    return touched


def looked_up(connection: sqlite3.Connection, table: str, column: str, keys: Iterable[Any], by: str = "no") -> dict[Any, int]:
    """Return a column of a table's rows by their numbers, or by another column that names them."""
    found: dict[Any, int] = {}
    for part in parts([key for key in keys if key is not None]):
        found.update(connection.execute(f"SELECT {by}, {column} FROM main.{table} WHERE {by} IN ({marks(part)})", part).fetchall())
    return found


def parts(ids: Sequence[Any]) -> Iterator[Sequence[Any]]:
    """Yield ids in numbers that one statement takes."""
    for start in range(0, len(ids), IDS_AT_ONCE):
        yield ids[start : start + IDS_AT_ONCE]
