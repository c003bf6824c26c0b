"""Checking what came from a shared library, inside the transaction that added it: only what came, not what was here already.

The tables' own CHECKs have judged each value by then.  What is left is what belongs together and what texts may hold.  Sets of
which anything but ordinary readings came are looked at whole, as a merge looks at a file (``checking.problems``); an ordinary
reading (one pop like itself, nothing superseded, harmless texts, a light and a placement of its own set) is told by its columns.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from meterlink.errors import ImportRefused
from meterlink.library.checking import plain_texts, problems
from meterlink.library.fields import LIMITS
from meterlink.library.rows import marks

Columns = dict[str, tuple[Any, ...]]
"""Column -> its values, in the order of the rows; empty for no rows."""
IDS_AT_ONCE = 500
FAR_FUTURE = b"\x10"
"""Ids begin with the time: those from here on are of no time that will be (``checking`` says so)."""
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


def check(connection: sqlite3.Connection, came: Mapping[str, Columns], *, new_sensors: bool = True) -> None:
    """Look at what came, already added and numbered.  Raises ``ImportRefused`` for what does not hold together."""
    _check_readings_named(connection, came)
    if came["reading"]:
        _check_stands(connection, came["reading"])
    touched = _touched(connection, came)
    whole = {name for name in _WHOLE if came.get(name)} | ({"sensor"} if new_sensors else set())
    if not touched and not whole:
        return
    connection.execute("CREATE TEMP TABLE touched (no INTEGER PRIMARY KEY)")
    try:
        connection.executemany("INSERT INTO touched VALUES (?)", [(no,) for no in touched])
        for name, sql in _VIEWS.items():
            connection.execute(f"CREATE TEMP VIEW {name} AS {sql}")
        for name in _WHOLE:
            connection.execute(f"CREATE TEMP VIEW {name} AS SELECT * FROM main.{name}{'' if name in whole else ' WHERE 0'}")
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
    touched: set[int] = set()
    for name in ("setup_version", "light", "pop", "mark", "waveform"):
        touched.update(came[name].get("setup_no", ()))
    lights = {no for name in ("light_version", "placement") for no in came[name].get("light_no", ())}
    lights.update(came["light_version"].get("source_light_no", ()))
    touched.update(looked_up(connection, "light", "setup_no", lights).values())
    touched.update(looked_up(connection, "setup", "no", came["setup"].get("id", ()), by="id").values())
    return touched | _odd_sets(came["reading"]) if came["reading"] else touched


def _odd_sets(readings: Columns) -> set[int]:
    """Return the sets with readings that are not ordinary."""
    sets = readings["setup_no"]
    pops = zip(sets, readings["pop_count"], readings["exposure_lxs"], strict=True)
    # What is no number is stored as NULL, too.
    odd = {s for s, n, light in pops if n > 1 or (n and (light is None or light != light))}
    odd |= {s for s, other in zip(sets, readings["supersedes_id"], strict=True) if other is not None}
    odd |= {s for s, i in zip(sets, readings["id"], strict=True) if i >= FAR_FUTURE}
    for column, field in LIMITS["reading"].items():
        given = [v for v in readings[column] if v is not None]
        if given and not field.low <= min(given) <= max(given) <= field.high:
            odd |= {s for s, v in zip(sets, readings[column], strict=True) if v is not None and not field.low <= v <= field.high}
    for name in ("point", "held_off_toward", "note"):
        bad = {text for text in set(readings[name]) if text is not None and not plain_texts([text])}
        odd |= {s for s, text in zip(sets, readings[name], strict=True) if text in bad} if bad else set()
    return odd


def _check_stands(connection: sqlite3.Connection, readings: Columns) -> None:
    """Refuse readings whose light is another set's, or whose placement is another light's, wherever that one is."""
    stands = set(zip(readings["setup_no"], readings["light_no"], readings["placement_no"], strict=True))
    set_of = looked_up(connection, "light", "setup_no", {light for _, light, _ in stands})
    light_of = looked_up(connection, "placement", "light_no", {place for _, _, place in stands})
    if any(light is not None and set_of.get(light) != no for no, light, _ in stands):
        raise ImportRefused("the shared library holds a reading whose light belongs to another set-up, it was not taken: check it")
    if any(place is not None and light_of.get(place) != light for _, light, place in stands):
        raise ImportRefused("the shared library holds a reading whose placement is another light's, it was not taken: check it")


def _check_readings_named(connection: sqlite3.Connection, came: Mapping[str, Columns]) -> None:
    """Refuse pops, waveforms and marks of readings that are not there (the foreign key to a reading)."""
    named: set[tuple[Any, Any]] = set()
    for name in ("pop", "waveform", "mark"):
        if came[name]:
            named.update(zip(came[name]["setup_no"], came[name]["reading_id"], strict=True))
    if named and came["reading"]:
        named.difference_update(zip(came["reading"]["setup_no"], came["reading"]["id"], strict=True))
    for pair in named:
        if connection.execute("SELECT 1 FROM main.reading WHERE setup_no = ? AND id = ?", pair).fetchone() is None:
            raise ImportRefused("the shared library names a reading that is not there, it was not taken: check it")


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
