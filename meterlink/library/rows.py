"""Records ↔ rows: the one place that knows how a record is laid out in the tables.

Encoders check what SQLite would silently change (NaN becomes NULL) and raise ``LibraryError``; decoders trust
the tables' own CHECKs.
"""

from __future__ import annotations

import json
import re
import zlib
from collections.abc import Mapping, Sequence
from typing import Any
from unicodedata import normalize

from meterlink.errors import LibraryDamaged, LibraryError, NotInLibrary, UsageError
from meterlink.library.fields import (
    CALIBRATION,
    KINDS,
    LIGHT,
    PLACEMENT,
    POP,
    POPS_MAX,
    PURPOSES,
    RANGE,
    READING,
    SETUP,
    Field,
)
from meterlink.records.kept import (
    AIMS,
    FACE,
    RECEPTORS,
    ROLES,
    SHAPES,
    Calibration,
    Light,
    Placement,
    Pop,
    RangeScale,
    Reading,
    Setup,
)
from meterlink.records.samples import Segment, WaveBlock
from meterlink.words.actions import Do
from meterlink.words.language import translated

CONTROLS = "\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f"
"""What no text may hold: control characters, but for tabs and line ends; for a regular expression."""
_CONTROL = re.compile(f"[{CONTROLS}]")
NO_LIMITS: Mapping[str, Field] = {}
NAME_MAX = 200
TEXT_MAX = 100_000
"""Characters of one free text (notes, details): far more than anyone types, little enough to refuse a hostile file."""

SETUP_VERSION_COLUMNS = "name, iso, shutter_s, camera_offset_stops, filter_stops, notes, tags, subject, archived, details"
LIGHT_VERSION_COLUMNS = (
    "name, role, point, order_index, fixture, modifier, source_light_no, shared_generator, power_step_stops, "
    "power_min_stops, full_power_j, details, removed"
)
PLACEMENT_COLUMNS = ", ".join(("id", "light_no", *Placement._fields[2:]))
CALIBRATION_COLUMNS = (
    "id, sensor_no, created_at_s, constant_lx, receptor, u_scale_rel, relative, method, temperature_c, reference, "
    "colour_matrix, angle_response, details"
)
READING_COLUMNS = (
    "setup_no, id, light_no, placement_no, calibration_no, sensor_no, taken_at_s, kind, purpose, exposure_lxs, "
    "illuminance_lx, point, receptor, aim, held_off_m, held_off_toward, u_held_off_m, u_rel, pop_count, lit, peak_lx, "
    "t05_s, t01_s, ambient_lx, clipped, too_dim, cct_k, duv, x, y, range_index, supersedes_id, note"
)
POP_COLUMNS = ", ".join(("setup_no", "reading_id", "pop_index", *Pop._fields))
WAVEFORM_COLUMNS = (
    "setup_no, reading_id, pop_index, at_s, pop, bits, scale_bits, segments, pretrigger, range_index, clipped, "
    "truncated, held_off_m, byte_count, samples"
)


def id_bytes(identifier: str) -> bytes:
    """Return the 16 bytes of an id of 32 hex digits.  Raises ``NotInLibrary`` for anything else."""
    try:
        value = bytes.fromhex(identifier)
    except (ValueError, TypeError):
        value = b""
    if len(value) != 16 or len(identifier) != 32:
        raise NotInLibrary(
            "{identifier!r} is not an id (32 hex digits): take one from a list",
            identifier=str(identifier)[:40],
        )
    return value


def name_key(name: str) -> str:
    """Return what two names are compared by: case-folded, composed letters, single spaces."""
    if name.isascii():
        return " ".join(name.lower().split())
    return " ".join(normalize("NFC", normalize("NFC", name).casefold()).split())


def is_name(name: str) -> bool:
    """Say whether a text can be the name of something: not empty, not too long, printable."""
    return bool(name_key(name)) and name.isprintable() and len(name) <= NAME_MAX


def has_controls(text: str) -> bool:
    """Say whether a text holds a character that no text may hold (``CONTROLS``)."""
    return _CONTROL.search(text) is not None


def checked_name(name: str, what: str) -> str:
    """Return ``name`` when it can be a name.  Raises ``UsageError``: empty, too long, or with control characters."""
    if not name_key(name) or not name.isprintable():
        raise UsageError(
            "{what} needs a name of printable characters, not {name!r}: type another one",
            what=translated(what), name=name[:40],
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
        if value is None or value is True or value is False:
            continue
        kind = type(value)
        if kind is float:
            if value - value != 0.0:
                raise LibraryError(
                    "{what} not stored: {field} is {value}, not a number; measure again",
                    what=translated(what), field=field, value=value,
                )
            _within(value, field, what, table)
        elif kind is int:
            if not -(2**53) <= value <= 2**53:
                raise LibraryError(
                    "{what} not stored: {field} is out of range; check the value", what=translated(what), field=field
                )
            _within(value, field, what, table)
        elif kind is str:
            _checked_text(value, field, what)


def _within(value: float, field: str, what: str, table: Mapping[str, Field]) -> None:
    limits = table.get(field)
    if limits is not None and limits.low is not None and limits.high is not None and not limits.low <= value <= limits.high:
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
            "{field} {value!r} is not known: use one of {table}",
            field=field, value=str(value)[:40], table=', '.join(table),
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
        return json.loads(text, parse_constant=_no_constant)
    except (ValueError, TypeError, RecursionError):
        raise LibraryDamaged("a record's details are damaged: {do}", do=Do("store_check")) from None


def _no_constant(word: str) -> Any:
    raise ValueError(f"{word} is not JSON")


def setup_version_row(setup: Setup) -> tuple[Any, ...]:
    """Return the values of ``SETUP_VERSION_COLUMNS``."""
    checked(setup, Setup._fields, "set-up", SETUP)
    for tag in setup.tags:
        checked_name(tag, "a tag")
    text = json_text(setup.details)
    return (*setup[1:2], *setup[3:8], "\n".join(setup.tags), setup.subject, bool(setup.archived), text)


def setup_from(row: Sequence[Any]) -> Setup:
    """Make a set-up of (id, created_at_s, *SETUP_VERSION_COLUMNS)."""
    identifier, created, name, iso, shutter, offset, lost, notes, tags, subject, archived, details = row
    return Setup(
        identifier.hex(), name, created, iso, shutter, offset, lost, notes,
        tuple(tags.split("\n")) if tags else (), subject, bool(archived), json_value(details) if details else {},
    )  # fmt: skip


def light_version_row(light: Light, source_light_no: int | None) -> tuple[Any, ...]:
    """Return the values of ``LIGHT_VERSION_COLUMNS``."""
    checked(light, Light._fields, "light", LIGHT)
    return (
        light.name, code(light.role, ROLES, "role"), light.point, light.order, light.fixture, light.modifier,
        source_light_no, bool(light.shared_generator), light.power_step_stops, light.power_min_stops,
        light.full_power_j, json_text(light.details), bool(light.removed),
    )  # fmt: skip


def light_from(row: Sequence[Any]) -> Light:
    """Make a light of (id, setup id, source id, *LIGHT_VERSION_COLUMNS)."""
    (
        identifier, setup, source, name, role, point, order, fixture, modifier, _, shared, step, low, full, details,
        gone,
    ) = row  # fmt: skip
    return Light(
        identifier.hex(), setup.hex(), name, ROLES[role], point, order, fixture, modifier,
        source.hex() if source else None, bool(shared), step, low, full, json_value(details) if details else {},
        bool(gone),
    )  # fmt: skip


def placement_row(placement: Placement, light_no: int) -> tuple[Any, ...]:
    """Return the values of ``PLACEMENT_COLUMNS``."""
    checked(placement, Placement._fields, "placement", PLACEMENT)
    shape = code(placement.shape, SHAPES, "shape")
    return (
        id_bytes(placement.id), light_no, placement.created_at_s, shape, *placement[4:-1], json_text(placement.details)
    )  # fmt: skip


def placement_from(row: Sequence[Any]) -> Placement:
    """Make a placement of (*PLACEMENT_COLUMNS with the light's id for its no)."""
    details = json_value(row[-1]) if row[-1] else {}
    values: tuple[Any, ...] = (row[0].hex(), row[1].hex(), row[2], SHAPES[row[3]], *row[4:-1], details)
    return Placement._make(values)


def calibration_row(calibration: Calibration, sensor_no: int) -> tuple[Any, ...]:
    """Return the values of ``CALIBRATION_COLUMNS``."""
    checked(calibration, Calibration._fields, "calibration", CALIBRATION)
    for scale in calibration.ranges:
        checked(scale, RangeScale._fields, "calibration", RANGE)
    return (
        id_bytes(calibration.id), sensor_no, calibration.created_at_s, calibration.constant,
        code(calibration.receptor, RECEPTORS, "receptor"), calibration.u_scale_rel, bool(calibration.relative),
        calibration.method, calibration.temperature_c, calibration.reference,
        json_text(calibration.colour_matrix, "colour_matrix"), json_text(calibration.angle_response, "angle_response"),
        json_text(calibration.details),
    )  # fmt: skip


def calibration_from(row: Sequence[Any], ranges: Sequence[Sequence[float]]) -> Calibration:
    """Make a calibration of (*CALIBRATION_COLUMNS with the sensor's own id for its no) and its ranges in order."""
    (
        identifier, sensor, created, constant, receptor, u_scale, relative, method, warmth, reference, matrix, angles,
        details,
    ) = row  # fmt: skip
    return Calibration(
        identifier.hex(), sensor, created, constant, RECEPTORS[receptor], tuple(RangeScale(*r) for r in ranges),
        u_scale, bool(relative), method, warmth, reference,
        tuple(json_value(matrix)) if matrix else (),
        tuple((float(a), float(r)) for a, r in json_value(angles)) if angles else (),
        json_value(details) if details else {},
    )  # fmt: skip


def own_pop(reading: Reading) -> Pop | None:
    """Return the single pop that a reading's own figures describe; None when it has no exposure."""
    if reading.exposure_lxs is None:
        return None
    return Pop(
        reading.exposure_lxs, reading.u_rel, reading.peak_lx, reading.t05_s, reading.t01_s, reading.ambient_lx,
        reading.clipped, reading.range_index,
    )  # fmt: skip


class Numbers:
    """The small numbers that stand for a reading's set, light, placement, calibration and sensor in one file."""

    __slots__ = ("calibration", "light", "placement", "sensor", "setup")

    def __init__(self, setup: int, light: int | None, placement: int | None, calibration: int, sensor: int) -> None:
        self.setup, self.light, self.placement = setup, light, placement
        self.calibration, self.sensor = calibration, sensor


def reading_row(reading: Reading, numbers: Numbers) -> tuple[Any, ...]:
    """Return the values of ``READING_COLUMNS``."""
    checked(reading, Reading._fields, "reading", READING)
    if len(reading.pops) > POPS_MAX:
        raise LibraryError(
            "reading not stored: {count} pops; average at most {pops_max}",
            count=len(reading.pops), pops_max=POPS_MAX,
        )
    supersedes = reading.supersedes_id
    return (
        numbers.setup, id_bytes(reading.id), numbers.light, numbers.placement, numbers.calibration, numbers.sensor,
        reading.taken_at_s, code(reading.kind, KINDS, "kind"), code(reading.purpose, PURPOSES, "purpose"),
        reading.exposure_lxs, reading.illuminance_lx, None if reading.point == FACE else reading.point,
        code(reading.receptor, RECEPTORS, "receptor"), code(reading.aim, AIMS, "aim"), reading.held_off_m,
        None if reading.held_off_toward == "light" else reading.held_off_toward, reading.u_held_off_m, reading.u_rel,
        len(reading.pops), b"".join(map(id_bytes, reading.lit)) or None, reading.peak_lx, reading.t05_s, reading.t01_s,
        reading.ambient_lx, bool(reading.clipped), bool(reading.too_dim), reading.cct_k, reading.duv, reading.x,
        reading.y, reading.range_index, id_bytes(supersedes) if supersedes else None, reading.note or None,
    )  # fmt: skip


def pop_rows(reading: Reading, setup_no: int) -> list[tuple[Any, ...]]:
    """Return the values of ``POP_COLUMNS`` for the pops that say more than the reading itself."""
    if len(reading.pops) == 1 and reading.pops[0] == own_pop(reading):
        return []
    identifier = id_bytes(reading.id)
    for pop in reading.pops:
        checked(pop, Pop._fields, "reading", POP)
    return [(setup_no, identifier, n, *p[:6], bool(p.clipped), p.range_index) for n, p in enumerate(reading.pops)]


def pop_from(row: Sequence[Any]) -> Pop:
    """Make a pop of the values of ``POP_COLUMNS`` after ``pop_index``."""
    exposure, u_rel, peak, t05, t01, ambient, clipped, range_index = row
    return Pop(exposure, u_rel, peak, t05, t01, ambient, clipped == 1, range_index)


def reading_from(row: Sequence[Any], pops: Sequence[Pop]) -> Reading:
    """Make a reading of (*READING_COLUMNS with ids in place of the five numbers) and the pops stored beside it."""
    (
        setup, identifier, light, placement, calibration, sensor, taken, kind, purpose, exposure, illuminance, point,
        receptor, aim, held_off, toward, u_held_off, u_rel, pop_count, lit, peak, t05, t01, ambient, clipped, too_dim,
        cct, duv, x, y, range_index, supersedes, note,
    ) = row  # fmt: skip
    is_clipped = clipped == 1
    if pop_count == 1 and not pops:
        pops = (Pop(exposure, u_rel, peak, t05, t01, ambient, is_clipped, range_index),)
    return Reading(
        identifier.hex(), setup.hex(), light and light.hex(), placement and placement.hex(), calibration.hex(), sensor,
        taken, KINDS[kind], PURPOSES[purpose], exposure, illuminance, point or FACE, RECEPTORS[receptor], AIMS[aim],
        held_off, toward or "light", u_held_off, u_rel, tuple(pops),
        tuple(lit[n : n + 16].hex() for n in range(0, len(lit), 16)) if lit else (),
        peak, t05, t01, ambient, is_clipped, too_dim == 1, cct, duv, x, y, range_index,
        supersedes and supersedes.hex(), note or "",
    )  # fmt: skip


def waveform_row(setup_no: int, reading_id: bytes, pop_index: int, block: WaveBlock) -> tuple[Any, ...]:
    """Return the values of ``WAVEFORM_COLUMNS``, samples compressed (zlib level 1: 37 % in a few milliseconds)."""
    checked(block, block._fields, "waveform")
    if block.bits not in (8, 16):
        raise LibraryError("waveform not stored: samples of {bits} bits; 8 and 16 can be kept", bits=block.bits)
    count = len(block.data) * 8 // block.bits
    if len(block.data) > WAVEFORM_BYTES_MAX or any(s[0] < 0 or s[1] < 0 or s[0] + s[1] > count for s in block.segments):
        raise LibraryError("waveform not stored: its segments do not fit its samples; the reading itself is kept")
    segments = json_text([list(s) for s in block.segments], "segments") or "[]"
    return (
        setup_no, reading_id, pop_index, block.at_s, block.pop, block.bits, block.scale_bits, segments,
        block.pretrigger, block.range_index, bool(block.clipped), bool(block.truncated), block.held_off_m,
        len(block.data),
        zlib.compress(block.data, 1),
    )  # fmt: skip


WAVEFORM_BYTES_MAX = 16 * 2**20
"""Cap before anything is unpacked: 16 MiB is a hundred times the largest block of the wire format."""


def is_whole_waveform(packed: Any, count: Any) -> bool:
    """Say whether stored samples can be unpacked to as many bytes as they should be."""
    try:
        return isinstance(packed, bytes) and len(zlib.decompressobj().decompress(packed, WAVEFORM_BYTES_MAX + 1)) == count
    except zlib.error:
        return False


def waveform_from(row: Sequence[Any]) -> WaveBlock:
    """Make a block of the values of ``WAVEFORM_COLUMNS`` from ``at_s`` on.  Raises ``LibraryDamaged``."""
    at_s, pop, bits, scale_bits, segments, pretrigger, range_index, clipped, truncated, held_off, count, packed = row
    if not is_whole_waveform(packed, count):
        raise LibraryDamaged("a waveform is damaged, its reading is not: {do}", do=Do("store_check"))
    data = zlib.decompressobj().decompress(packed, WAVEFORM_BYTES_MAX)
    return WaveBlock(
        at_s, pop, data, bits, scale_bits, tuple(Segment(*s) for s in json_value(segments)), pretrigger, range_index,
        bool(clipped), bool(truncated), held_off,
    )  # fmt: skip
