"""Records ↔ rows and JSON, made from the table of fields.

Encoders check what SQLite would silently change (NaN becomes NULL) and raise ``LibraryError``; decoders trust
the tables' own CHECKs.
"""

from __future__ import annotations

import json
import re
import zlib
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any, Generic, TypeVar, cast
from unicodedata import normalize

from meterlink.errors import LibraryDamaged, LibraryError, NotInLibrary, UsageError
from meterlink.library.fields import CALIBRATION, LIGHT, PLACEMENT, POP, POPS_MAX, RANGE, READING, SETUP, WAVEFORM, Field
from meterlink.records.kept import Calibration, Light, Placement, Pop, RangeScale, Reading, Setup
from meterlink.records.samples import Segment, WaveBlock
from meterlink.words.actions import Do
from meterlink.words.language import translated

Record = TypeVar("Record", bound=tuple[Any, ...])
CONTROLS = "\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f"
"""What no text may hold: control characters, but for tabs and line ends; for a regular expression."""
_CONTROL = re.compile(f"[{CONTROLS}]")
NO_LIMITS: Mapping[str, Field] = {}
NAME_MAX = 200
TEXT_MAX = 100_000
"""Characters of one free text (notes, details): far more than anyone types, little enough to refuse a hostile file."""

def id_bytes(identifier: str) -> bytes:
    """Return the 16 bytes of an id of 32 hex digits.  Raises ``NotInLibrary`` for anything else."""
    try:
        value = bytes.fromhex(identifier)
    except (ValueError, TypeError):
        value = b""
    if len(value) != 16 or len(identifier) != 32:
        raise NotInLibrary("{identifier!r} is not an id (32 hex digits): take one from a list", identifier=str(identifier)[:40])
    return value


def name_key(name: str) -> str:
    """Return what two names are compared by: case-folded, composed letters, single spaces."""
    if name.isascii():
        return " ".join(name.lower().split())
    return " ".join(normalize("NFC", normalize("NFC", name).casefold()).split())


def is_name(name: str) -> bool:
    """Say whether a text can be the name of something: not empty, not too long, printable."""
    return bool(name_key(name)) and name.isprintable() and len(name) <= NAME_MAX


def marks(values: Collection[Any]) -> str:
    """Return the places for values in a statement: ``?, ?, ?``."""
    return ", ".join("?" * len(values))


def has_controls(text: str) -> bool:
    """Say whether a text holds a character that no text may hold (``CONTROLS``)."""
    return _CONTROL.search(text) is not None


def checked_name(name: str, what: str) -> str:
    """Return ``name`` when it can be a name.  Raises ``UsageError``: empty, too long, or with control characters."""
    if not name_key(name) or not name.isprintable():
        raise UsageError(
            "{what} needs a name of printable characters, not {name!r}: type another one", what=translated(what), name=name[:40]
        )
    if len(name) > NAME_MAX:
        raise UsageError(
            "the name of {what} has {count} characters: keep it within {name_max}",
            what=translated(what), count=len(name), name_max=NAME_MAX,
        )
    return name


def checked(values: Sequence[Any], fields: Sequence[str], what: str, table: Mapping[str, Field] = NO_LIMITS) -> None:
    """Refuse what a table cannot keep: NaN and infinity, numbers beyond the limits of ``table``, over-long or broken text."""
    for value, field in zip(values, fields, strict=False):
        kind = type(value)
        if kind is str:
            _checked_text(value, field, what)
        elif kind is float or kind is int:
            _checked_number(value, field, what, table.get(field))


def _checked_number(value: float, field: str, what: str, limits: Field | None) -> None:
    if value - value != 0.0:
        raise LibraryError(
            "{what} not stored: {field} is {value}, not a number; measure again", what=translated(what), field=field, value=value
        )
    if isinstance(value, int) and abs(value) > 2**53:
        raise LibraryError("{what} not stored: {field} is out of range; check the value", what=translated(what), field=field)
    if limits is not None and not limits.low <= value <= limits.high:
        raise LibraryError(
            "{what} not stored: {field} is {value:g}, beyond {low:g} to {high:g}; check the value",
            what=translated(what), field=field, value=value, low=limits.low, high=limits.high,
        )


def _checked_text(text: str, field: str, what: str) -> None:
    if len(text) > TEXT_MAX:
        raise LibraryError(
            "{what} not stored: {field} has {count} characters; keep it within {text_max}",
            what=translated(what), field=field, count=len(text), text_max=TEXT_MAX,
        )
    if control := _CONTROL.search(text):
        raise UsageError(
            "{what} not stored: {field} holds a control character ({control!r}); type it again",
            what=translated(what), field=field, control=control[0],
        )
    if not text.isascii():
        try:
            text.encode()
        except UnicodeEncodeError:
            raise LibraryError(
                "{what} not stored: {field} is not proper text; type it again", what=translated(what), field=field
            ) from None


def code(value: str, table: Sequence[str], field: str) -> int:
    """Return the index of ``value`` in its code table.  Raises ``LibraryError`` naming the allowed ones."""
    try:
        return table.index(value)
    except ValueError:
        raise LibraryError(
            "{field} {value!r} is not known: use one of {table}", field=field, value=str(value)[:40], table=', '.join(table)
        ) from None


def json_text(value: Any, what: str = "details") -> str:
    """Return compact JSON of a dict or sequence, '' when it is empty.  Raises ``LibraryError``: JSON cannot hold it."""
    if not value:
        return ""
    try:
        text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False, sort_keys=True)
    except (TypeError, ValueError, RecursionError):
        raise LibraryError(
            "{what} can hold only plain texts, numbers, lists and tables: check its values", what=translated(what)
        ) from None
    _checked_text(text, what, "record")
    return text


def json_value(text: str) -> Any:
    """Return what ``json_text`` wrote.  Raises ``LibraryDamaged``."""
    try:
        return json.loads(text, parse_constant=no_constant)
    except (ValueError, TypeError, RecursionError):
        raise LibraryDamaged("a record's details are damaged: {do}", do=Do("store_check")) from None


def no_constant(word: str) -> Any:
    """Refuse NaN and Infinity, which are no JSON."""
    raise ValueError(f"{word} is not JSON")


def _codes(name: str, field: Field, default: Any) -> tuple[Callable[[Any], Any] | None, Callable[[Any], Any] | None]:
    """Return what makes a field's value that of its column, and back; None where they are the same."""
    if field.sparse:
        return lambda value: None if value == default else value, None
    if field.kind == "id" and field.null:
        return lambda text: id_bytes(text) if text else None, bytes.hex
    if field.kind == "choice":
        return lambda value: code(value, field.choices, name), field.choices.__getitem__
    if field.kind in ("object", "numbers", "pairs"):
        kinds: Mapping[str, Callable[..., Any]] = {"object": dict, "numbers": tuple, "pairs": _pairs}
        make = kinds[field.kind]
        return lambda value: json_text(value, name), lambda text: make(json_value(text)) if text else make()
    return _CODES.get(field.kind, (None, None))


def _pairs(lists: Sequence[Sequence[float]] = ()) -> tuple[tuple[float, float], ...]:
    return tuple((float(a), float(b)) for a, b in lists)


def _segments(text: str) -> tuple[Segment, ...]:
    return tuple(Segment(*one) for one in json_value(text))


def _count(pops: Sequence[Any]) -> int:
    if len(pops) > POPS_MAX:
        raise LibraryError("reading not stored: {count} pops; average at most {pops_max}", count=len(pops), pops_max=POPS_MAX)
    return len(pops)


_CODES: Mapping[str, tuple[Callable[[Any], Any] | None, Callable[[Any], Any] | None]] = {
    "id": (id_bytes, bytes.hex),
    "ids": (
        lambda ids: b"".join(map(id_bytes, ids)) or None,
        lambda data: tuple(data[n : n + 16].hex() for n in range(0, len(data), 16)),
    ),
    "flag": (bool, bool),
    "names": (
        lambda names: "\n".join(checked_name(name, "a tag") for name in names),
        lambda text: tuple(text.split("\n")) if text else (),
    ),
    "records": (_count, None),
    "segments": (lambda value: json_text([list(one) for one in value], "segments") or "[]", _segments),
}
_FROM_JSON: Mapping[str, Callable[[Any, Field], Any]] = {
    **dict.fromkeys(("names", "ids", "numbers"), lambda value, _: tuple(value)),
    "pairs": lambda value, _: tuple((a, b) for a, b in value),
    "segments": lambda value, _: tuple(Segment(*one) for one in value),
    "records": lambda value, field: tuple(field.made(**one) for one in value),
}


class Layout(Generic[Record]):
    """How records of one kind lie in their table and in JSON.

    ``lead`` are columns of which whoever stores a record gives the values: they come before the others.  ``elsewhere`` has
    the SQL of the fields that a query finds in other tables.
    """

    def __init__(
        self, table: str, kind: type[Record], fields: Mapping[str, Field], what: str, lead: Sequence[str] = (), **elsewhere: str
    ) -> None:
        self.fields, self._what = fields, what
        self._kind = cast(Any, kind)
        alias = "v" if table.endswith("_version") else table[0]
        names: tuple[str, ...] = self._kind._fields
        codes = [_codes(name, fields[name], self._kind._field_defaults.get(name)) for name in names]
        own = [n for n, name in enumerate(names) if name not in elsewhere]
        self._encoders = [(n, codes[n][0]) for n in own]
        self._decoders = [(n, decode) for n, (_, decode) in enumerate(codes) if decode]
        columns = {name: fields[name].column or name for name in names}
        self.columns = (*lead, *(columns[names[n]] for n in own))
        there = {name: f"{alias}.{column}" for name, column in columns.items()} | elsewhere
        for name in names:
            if fields[name].sparse or fields[name].kind == "ids":
                nothing = self._kind._field_defaults[name] or ""
                there[name] = f"ifnull({there[name]}, {'' if fields[name].sparse else 'x'}'{nothing}')"
        self.select = ", ".join(there.values())
        """The columns of a query from which ``record`` makes one."""
        self.insert = f"INSERT INTO {table} ({', '.join(self.columns)}) VALUES ({marks(self.columns)})"

    def row(self, record: Record, *lead: Any) -> tuple[Any, ...]:
        """Return the values for ``insert``.  Raises ``LibraryError``, ``UsageError``."""
        checked(record, self._kind._fields, self._what, self.fields)
        return (*lead, *(encode(record[n]) if encode else record[n] for n, encode in self._encoders))

    def record(self, row: Sequence[Any]) -> Record:
        """Make a record of the values of ``select``.  Raises ``LibraryDamaged``."""
        values = list(row)
        for n, decode in self._decoders:
            if values[n] is not None:
                values[n] = decode(values[n])
        record: Record = self._kind._make(values)
        return record

    def from_json(self, values: Mapping[str, Any]) -> Record:
        """Make a record of a validated table; what is not in it has its default, or is None."""
        given = {n: values.get(n) for n in self._kind._fields if n in values or n not in self._kind._field_defaults}
        for name, value in given.items():
            if make := _FROM_JSON.get(self.fields[name].kind):
                given[name] = make(value, self.fields[name])
        record: Record = self._kind(**given)
        return record


def to_json(record: Any) -> dict[str, Any]:
    """Return the fields of a record that are not at their defaults: tuples as lists, records inside it as tables."""
    defaults = record._field_defaults
    return {
        name: _listed(value) if isinstance(value, tuple) else value
        for name, value in zip(record._fields, record, strict=True)
        if name not in defaults or value != defaults[name]
    }


def _listed(values: Sequence[Any]) -> list[Any]:
    return [to_json(one) if hasattr(one, "_fields") else list(one) if isinstance(one, tuple) else one for one in values]


SETUPS = Layout("setup_version", Setup, SETUP, "set-up", ("id", "setup_no", "name_key"), id="s.id", created_at_s="s.created_at_s")
LIGHTS = Layout(
    "light_version", Light, LIGHT, "light", ("id", "light_no", "name_key", "source_light_no"),
    id="l.id", setup_id="s.id", source_light_id="f.id",
)  # fmt: skip
PLACEMENTS = Layout("placement", Placement, PLACEMENT, "placement", ("light_no",), light_id="l.id")
CALIBRATIONS = Layout(
    "calibration", Calibration, CALIBRATION, "calibration", ("sensor_no",), sensor_id="n.sensor_id", ranges="c.no"
)
RANGES = Layout("calibration_range", RangeScale, RANGE, "calibration", ("calibration_no", "range_index"))
READINGS = Layout(
    "reading", Reading, READING, "reading", ("setup_no", "light_no", "placement_no", "calibration_no", "sensor_no"),
    setup_id="s.id", light_id="l.id", placement_id="p.id", calibration_id="c.id", sensor_id="n.sensor_id",
)  # fmt: skip
POPS = Layout("pop", Pop, POP, "reading", ("setup_no", "reading_id", "pop_index"))
WAVEFORMS = Layout(
    "waveform", WaveBlock, WAVEFORM, "waveform", ("setup_no", "reading_id", "pop_index", "byte_count", "samples"), data="w.samples"
)
WAVEFORM_SELECT = f"SELECT {WAVEFORMS.select}, w.byte_count, w.reading_id, w.pop_index FROM waveform w"
WAVEFORM_BYTES_MAX = 16 * 2**20
"""Cap before anything is unpacked: 16 MiB is a hundred times the largest block of the wire format."""
_POPS = Reading._fields.index("pops")
_OWN_POP = [Reading._fields.index(name) for name in Pop._fields]


def own_pop(reading: Reading) -> Pop | None:
    """Return the single pop that a reading's own figures describe; None when it has no exposure."""
    return None if reading.exposure_lxs is None else Pop._make(reading[n] for n in _OWN_POP)


def pop_rows(reading: Reading, setup_no: int) -> list[tuple[Any, ...]]:
    """Return the rows of the pops that say more than the reading itself."""
    if len(reading.pops) == 1 and reading.pops[0] == own_pop(reading):
        return []
    identifier = id_bytes(reading.id)
    return [POPS.row(pop, setup_no, identifier, n) for n, pop in enumerate(reading.pops)]


def reading_from(row: Sequence[Any], pops: Sequence[Pop]) -> Reading:
    """Make a reading of the values of ``READINGS.select`` and the pops stored beside it."""
    values = list(row)
    if values[_POPS] == 1 and not pops:
        pops = (POPS.record([values[n] for n in _OWN_POP]),)
    values[_POPS] = tuple(pops)
    return READINGS.record(values)


def waveform_row(setup_no: int, reading_id: str, pop_index: int, block: WaveBlock) -> tuple[Any, ...]:
    """Return the row of a waveform, samples compressed (zlib level 1: 37 % in a few milliseconds)."""
    if block.bits not in (8, 16):
        raise LibraryError("waveform not stored: samples of {bits} bits; 8 and 16 can be kept", bits=block.bits)
    count = len(block.data) * 8 // block.bits
    if len(block.data) > WAVEFORM_BYTES_MAX or any(s[0] < 0 or s[1] < 0 or s[0] + s[1] > count for s in block.segments):
        raise LibraryError("waveform not stored: its segments do not fit its samples; the reading itself is kept")
    return WAVEFORMS.row(block, setup_no, id_bytes(reading_id), pop_index, len(block.data), zlib.compress(block.data, 1))


def is_whole_waveform(packed: Any, count: Any) -> bool:
    """Say whether stored samples can be unpacked to as many bytes as they should be."""
    try:
        return isinstance(packed, bytes) and len(zlib.decompressobj().decompress(packed, WAVEFORM_BYTES_MAX + 1)) == count
    except zlib.error:
        return False


def waveform_from(row: Sequence[Any]) -> WaveBlock:
    """Make a block of a row of ``WAVEFORM_SELECT``.  Raises ``LibraryDamaged``."""
    packed = WAVEFORMS.record(row[:-3])
    if not is_whole_waveform(packed.data, row[-3]):
        raise LibraryDamaged("a waveform is damaged, its reading is not: {do}", do=Do("store_check"))
    return packed._replace(data=zlib.decompressobj().decompress(packed.data, WAVEFORM_BYTES_MAX))
