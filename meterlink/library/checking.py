"""What the tables' own CHECKs cannot say: texts and JSON that decode, names, numbers that belong together.

Used before anything is taken from another file, and by ``store check`` on one's own.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterator, Mapping, Sequence

from meterlink.errors import MeterlinkError
from meterlink.library import rows
from meterlink.library.fields import COLUMNS, LIMITS, Field
from meterlink.words.told import Told, told

_JSON_KINDS = {"object": dict, "numbers": list, "pairs": list, "segments": list}
_TEXTS = {
    "sensor": ("sensor_id",),
    **{
        table: [name for name, field in columns.items() if field.kind in ("text", "name", "names") and not name.endswith("_no")]
        for table, columns in COLUMNS.items()
    },
}
# Each query has what is wrong and finds the ids of rows for which it is; {s} is the schema.
_TOGETHER = (
    (
        told("light_elsewhere"),
        "SELECT r.id FROM {s}.reading r JOIN {s}.light l ON l.no = r.light_no WHERE l.setup_no <> r.setup_no",
    ),
    (
        told("placement_elsewhere"),
        "SELECT r.id FROM {s}.reading r JOIN {s}.placement p ON p.no = r.placement_no WHERE p.light_no IS NOT r.light_no",
    ),
    (
        told("source_elsewhere"),
        "SELECT v.id FROM {s}.light_version v JOIN {s}.light l ON l.no = v.light_no "
        "JOIN {s}.light f ON f.no = v.source_light_no WHERE f.no = l.no OR f.setup_no <> l.setup_no",
    ),
    (
        told("other_pop_count"),
        "SELECT p.reading_id FROM (SELECT setup_no, reading_id, count(*) AS n, max(pop_index) AS last FROM {s}.pop "
        "GROUP BY setup_no, reading_id) p LEFT JOIN {s}.reading r ON r.setup_no = p.setup_no AND r.id = p.reading_id "
        "WHERE p.n IS NOT r.pop_count OR p.last <> p.n - 1",
    ),
    (
        told("lacks_pops"),
        "SELECT r.id FROM {s}.reading r WHERE (r.pop_count > 1 OR (r.pop_count = 1 AND r.exposure_lxs IS NULL)) "
        "AND NOT EXISTS (SELECT 1 FROM {s}.pop p WHERE p.setup_no = r.setup_no AND p.reading_id = r.id)",
    ),
    (
        told("supersedes_nothing"),
        "SELECT r.id FROM {s}.reading r WHERE r.supersedes_id IS NOT NULL AND (r.supersedes_id >= r.id OR NOT EXISTS "
        "(SELECT 1 FROM {s}.reading o WHERE o.setup_no = r.setup_no AND o.id = r.supersedes_id))",
    ),
    *(
        (told("far_future_id", table=table), f"SELECT id FROM {{s}}.{table} WHERE id >= x'10'")
        for table in ("setup", "setup_version", "light_version", "placement", "calibration", "reading", "mark", "note")
    ),
    (told("setup_without_version"), "SELECT id FROM {s}.setup WHERE no NOT IN (SELECT setup_no FROM {s}.setup_version)"),
    (told("light_without_version"), "SELECT id FROM {s}.light WHERE no NOT IN (SELECT light_no FROM {s}.light_version)"),
)


def problems(connection: sqlite3.Connection, schema: str = "main") -> Iterator[Told]:
    """Yield one line for every kind of trouble found in the records of an open or attached library."""
    for table, columns in _TEXTS.items():
        if columns:
            yield from _text_problems(connection, schema, table, columns)
    for table, fields in COLUMNS.items():
        yield from _json_problems(connection, schema, table, fields)
    for table in ("setup_version", "light_version"):
        found = connection.execute(f"SELECT id, name, name_key FROM {schema}.{table}")
        if bad := [i for i, name, key in found if not rows.is_name(name) or rows.name_key(name) != key]:
            yield told("name_cannot_be", table=table, rows=_shown(bad))
    for table, column in (("sensor", "sensor_id"), ("note", "kind")):
        if bad := [n for (n,) in connection.execute(f"SELECT DISTINCT {column} FROM {schema}.{table}") if not rows.is_name(n)]:
            yield told("name_cannot_be", table=table, rows=repr(bad[0][:40]))
    for table, limits in LIMITS.items():
        yield from _beyond(connection, schema, table, limits)
    for what, sql in _TOGETHER:
        if bad := [i for (i,) in connection.execute(sql.format(s=schema)).fetchmany(1000)]:
            yield told("rows_of", trouble=what, rows=_shown(bad))


_KEYS = {"pop": "reading_id", "calibration_range": "(SELECT id FROM {s}.calibration WHERE no = calibration_no)"}


def _beyond(connection: sqlite3.Connection, schema: str, table: str, limits: Mapping[str, Field]) -> Iterator[Told]:
    """Numbers that nobody sets up and no sensor sees: what is made from them may take for ever."""
    key = _KEYS.get(table, "id").format(s=schema)
    wrong = " OR ".join(f"{name} NOT BETWEEN {field.low!r} AND {field.high!r}" for name, field in limits.items())
    found = connection.execute(f"SELECT {key}, {', '.join(limits)} FROM {schema}.{table} WHERE {wrong} LIMIT 1").fetchone()
    for (name, field), value in zip(limits.items(), found[1:] if found else (), strict=False):
        if value is not None and not (isinstance(value, int | float) and field.low <= value <= field.high):
            between = {"low": field.low, "high": field.high}
            yield told("beyond_belief", table=table, column=name, value=str(value)[:40], **between, rows=_shown([found[0]]))
            return


def _text_problems(connection: sqlite3.Connection, schema: str, table: str, columns: Sequence[str]) -> Iterator[Told]:
    given = " OR ".join(f"{c} <> ''" for c in columns)
    try:
        cursor = connection.execute(f"SELECT {', '.join(columns)} FROM {schema}.{table} WHERE {given}")
        while found := cursor.fetchmany(5000):
            if not plain_texts([text for row in found for text in row if text]):
                for texts in found:
                    rows.checked(texts, columns, table)
    except MeterlinkError as error:
        yield told("note", note=error)
    except sqlite3.OperationalError as error:
        if "decode" not in str(error).lower():
            raise
        yield told("no_proper_text", table=table)


def plain_texts(texts: Collection[str]) -> bool:
    """Say whether texts are all ASCII without control characters, and none longer than a short note."""
    joined = "".join(texts)
    return joined.isascii() and not rows.has_controls(joined) and max(map(len, texts), default=0) <= rows.TEXT_MAX


def _json_problems(connection: sqlite3.Connection, schema: str, table: str, fields: Mapping[str, Field]) -> Iterator[Told]:
    for column, kind in ((name, _JSON_KINDS[field.kind]) for name, field in fields.items() if field.kind in _JSON_KINDS):
        bad = 0
        for (text,) in connection.execute(f"SELECT {column} FROM {schema}.{table} WHERE {column} <> ''"):
            bad += not is_json(text, kind)
        if bad:
            yield told("damaged_column", table=table, count=bad, column=column)


def is_json(text: str, kind: type) -> bool:
    """Say whether a text is JSON of this kind (dict or list) within limits."""
    try:
        return len(text) <= rows.TEXT_MAX and isinstance(rows.json_value(text), kind)
    except MeterlinkError:
        return False


def _shown(ids: list[bytes]) -> Told:
    first = told("note", note=", ".join(i.hex() for i in ids[:3]))
    return told("and_more", rows=first, count=len(ids) - 3) if len(ids) > 3 else first
