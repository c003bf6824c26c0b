"""What leaves a library: JSON documents, CSV that is safe to open in a spreadsheet, or the whole library as one file."""

from __future__ import annotations

import base64
import csv
import io
import json
import re
import time
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from meterlink.errors import LibraryDamaged
from meterlink.library import rows
from meterlink.library.backup import copy_to
from meterlink.library.fields import DOCUMENT
from meterlink.library.files import write_whole
from meterlink.library.format import FORMAT, VERSION
from meterlink.library.merge import Tell
from meterlink.library.store import Library
from meterlink.words.told import told

_FORMULA_SIGNS = tuple("=+-@＝＋－＠")
_CELL_ENDS = re.compile(r"([;\t\r\n])")
_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?([eE][+-]?\d+)?", re.ASCII)


def document(
    library: Library, setup_ids: Sequence[str] | None = None, *, waveforms: bool = True, tell: Tell = lambda _: None
) -> dict[str, Any]:
    """Return set-ups (all when None) with all that belongs to them as one document of ``format.py``.

    Notes (learnt facts) go along only with a whole library.  ``tell`` is told of damaged waveforms, which are left out.
    """
    whole = setup_ids is None
    chosen = [library.setup(i) for i in setup_ids] if setup_ids is not None else library.setups(include_archived=True)
    parts: dict[str, list[dict[str, Any]]] = {part: [] for part in DOCUMENT}
    with library.db.alone():
        for setup in sorted(chosen):
            _add_setup(library, setup.id, parts, tell if waveforms else None)
        used = {reading["calibration_id"] for reading in parts["readings"]}
        parts["calibrations"] = [rows.to_json(c) for c in library.calibrations() if whole or c.id in used]
    if whole:
        parts["notes"] = [
            {"id": i.hex(), "kind": kind, "key": key, "at_s": at_s, "payload": rows.json_value(payload)}
            for i, kind, key, at_s, payload in library.db.rows(
                "SELECT id, kind, key, at_s, payload FROM note WHERE is_good_note(kind, payload) ORDER BY id"
            )
        ]
    return {"format": FORMAT, "version": VERSION, "written_at_s": time.time(), **{k: v for k, v in parts.items() if v}}


def _add_setup(library: Library, setup_id: str, parts: dict[str, list[dict[str, Any]]], tell: Tell | None) -> None:
    lights = library.light_versions(setup_id)
    parts["setups"] += [{"version_id": v, **rows.to_json(s)} for v, s in library.setup_versions(setup_id)]
    parts["lights"] += [{"version_id": v, **rows.to_json(light)} for v, light in lights]
    for light_id in dict.fromkeys(light.id for _, light in lights):
        parts["placements"] += [rows.to_json(p) for p in library.placements(light_id)]
    parts["readings"] += [rows.to_json(reading) for reading in library.all_readings(setup_id)]
    no = library._setup_no(setup_id)
    parts["marks"] += [
        {"id": i.hex(), "reading_id": r.hex(), "at_s": at_s, "reason": reason}
        for i, r, at_s, reason in library.db.rows("SELECT id, reading_id, at_s, reason FROM mark WHERE setup_no = ?", (no,))
    ]
    if tell is not None:
        for row in library.db.rows(f"{rows.WAVEFORM_SELECT} WHERE w.setup_no = ? ORDER BY w.no", (no,)):
            try:
                block = rows.waveform_from(row)
            except LibraryDamaged:
                tell(told("left_out_of_export", pop=row[-1], reading=row[-2].hex()))
                continue
            record = block._asdict() | {
                "reading_id": row[-2].hex(), "pop_index": row[-1], "segments": [list(s) for s in block.segments],
                "data": base64.b64encode(block.data).decode(),
            }  # fmt: skip
            parts["waveforms"].append({k: v for k, v in record.items() if v is not None})


def to_json(doc: dict[str, Any], *, compact: bool = False) -> str:
    """Return a document as JSON text; ``compact`` leaves out every space (for a QR code)."""
    if compact:
        return json.dumps(doc, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return json.dumps(doc, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def write_json(
    library: Library, target: Path, setup_ids: Sequence[str] | None = None, *, waveforms: bool = True, tell: Tell = lambda _: None
) -> None:
    """Write set-ups (all when None) to a JSON file: whole, or not at all.  Raises ``StorageError``."""
    write_whole(target, to_json(document(library, setup_ids, waveforms=waveforms, tell=tell)).encode())


def write_library(library: Library, target: Path, *, replace: bool = False) -> None:
    """Write the whole library, waveforms and all, as one file that ``merge`` and ``--library`` take.  For any size.

    Only ``replace`` lets it take the place of another library's file.
    """
    copy_to(library.db.connection, Path(library.path), target, replace=replace)


_OF_READING = (
    "point", "purpose", "kind", "exposure_lxs", "illuminance_lx", "receptor", "aim", "held_off_m", "held_off_toward", "pops",
    "u_rel", "t05_s", "t01_s", "ambient_lx", "clipped", "too_dim", "cct_k", "duv",
)  # fmt: skip
READING_HEADER = ("taken_at_utc", "setup", "light", "role", *_OF_READING, "standing", "note", "reading_id")


def readings_csv(library: Library, setup_id: str) -> str:
    """Return the readings of a set-up as CSV, the taken-back ones too (``standing``: ``yes``, ``void`` or ``superseded``)."""
    setup = library.setup(setup_id)
    lights = {x.id: x for x in library.lights(setup.id, include_removed=True)}
    voids, effective = library.voids(setup.id), {r.id for r in library.readings(setup.id)}
    table = []
    for r in library.all_readings(setup.id):
        light = lights.get(r.light_id or "")
        standing = "yes" if r.id in effective else "void" if r.id in voids else "superseded"
        taken = time.strftime("%Y-%m-%d %H:%M:%S", time.gmtime(r.taken_at_s))
        own = (len(r.pops) if name == "pops" else getattr(r, name) for name in _OF_READING)
        table.append((taken, setup.name, light and light.name, light and light.role, *own, standing, r.note, r.id))
    return csv_text(READING_HEADER, table)


def csv_text(header: Sequence[str], table: Iterable[Sequence[Any]]) -> str:
    """Return CSV (RFC 4180) in which no text can be taken for a formula by a spreadsheet; numbers stay numbers, None is empty."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(map(spreadsheet_safe, header))
    for row in table:
        writer.writerow([spreadsheet_safe(v) if isinstance(v, str) else int(v) if isinstance(v, bool) else v for v in row])
    return out.getvalue()


def spreadsheet_safe(text: str) -> str:
    """Put an apostrophe before everything that a spreadsheet could read as a formula.

    That is =, +, -, @ and their wide forms at the beginning of a cell (OWASP, "CSV Injection"), also of what becomes a cell when
    the file is split at semicolons, tabs or line breaks; a lone number is left alone.
    """
    if _NUMBER.fullmatch(text):
        return text
    return "".join(map(_disarmed, _CELL_ENDS.split(text.replace("\0", ""))))


def _disarmed(cell: str) -> str:
    begin = cell.lstrip()
    return f"{cell[: len(cell) - len(begin)]}'{begin}" if begin.startswith(_FORMULA_SIGNS) else cell
