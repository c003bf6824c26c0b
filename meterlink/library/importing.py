"""What comes into a library from a JSON document: validated whole, shown first, then taken whole or not at all."""

from __future__ import annotations

import binascii
import json
import tempfile
from base64 import b64decode
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

from meterlink.errors import ImportRefused, LibraryError, UsageError
from meterlink.library import filling, rows
from meterlink.library.files import check_readable, is_library
from meterlink.library.format import validate
from meterlink.library.merge import Added, merge, preview
from meterlink.library.store import Library
from meterlink.records.samples import WaveBlock
from meterlink.words.actions import Do

FILE_BYTES_MAX = 48 * 2**20
VALUES_MAX = 1_000_000
"""JSON values in one file: each costs a hundred bytes while it is read.  Bigger libraries travel as a library file."""


def import_file(library: Library, path: Path) -> Added:
    """Take a JSON document or another library's file; return how many records were new.

    Raises ``ImportRefused`` and takes nothing when anything in it is wrong.
    """
    if is_library(path):
        return merge(library, path, "import")
    return import_document(library, read(path), path.name)


def preview_file(library: Library, path: Path) -> Added:
    """Return what ``import_file`` would add, and add nothing."""
    if is_library(path):
        return preview(library, path)
    with _as_library(read(path), path.name) as other:
        return _named(path.name, preview, library, other)


def import_document(library: Library, doc: Any, name: str = "the document") -> Added:
    """Take a document that is already parsed (from a QR code, another program ...).  Raises ``ImportRefused``."""
    with _as_library(doc, name) as other:
        return _named(name, partial(merge, reason="import"), library, other)


def read(path: Path) -> Any:
    """Parse a JSON file within limits of size and number of values.  Raises ``ImportRefused``."""
    check_readable(path)
    try:
        with path.open("rb") as file:
            data = file.read(FILE_BYTES_MAX + 1)
    except OSError as error:
        raise ImportRefused(
            "{path} cannot be read ({strerror}): check the name and its rights",
            path=path, strerror=error.strerror,
        ) from error
    return parse(data, path.name)


def parse(data: bytes, name: str) -> Any:
    """Parse JSON bytes within limits: no repeated keys, no NaN, no endless depth.  Raises ``ImportRefused``."""
    if len(data) > FILE_BYTES_MAX:
        raise ImportRefused(
            "{name} is larger than {file_bytes_max} MiB: exchange it as a library file: {do}",
            name=name, do=Do("merge"), file_bytes_max=FILE_BYTES_MAX >> 20,
        )
    if data.count(b",") + data.count(b"[") + data.count(b"{") > VALUES_MAX:
        raise ImportRefused(
            "{name} holds more than {values_max} values: exchange it as a library file: {do}",
            name=name, do=Do("merge"), values_max=VALUES_MAX,
        )
    try:
        return json.loads(data.decode("utf-8-sig"), object_pairs_hook=_object, parse_constant=rows.no_constant)
    except RecursionError:
        raise ImportRefused("{name} is nested too deeply: it is no exported file", name=name) from None
    except ValueError as error:
        where = str(error).splitlines()[0][:120]
        raise ImportRefused("{name} is not JSON that can be read ({where}): export it again", name=name, where=where) from None


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a key is given twice")
    return found


@contextmanager
def _as_library(doc: Any, name: str) -> Iterator[Path]:
    """Validate a document and make a library file of it, from which it is merged like any other."""
    parts = validate(doc, name)
    with tempfile.TemporaryDirectory(prefix="meterlink-import-") as folder:
        path = Path(folder) / "import.sqlite"
        with Library.open(path) as library:
            library.db.connection.execute("PRAGMA synchronous=OFF")  # only a step on the way
            try:
                with library.db.write() as connection:
                    _fill(filling.Filler(connection), parts)
            except ImportRefused as error:
                raise ImportRefused("{name}: {error}", name=name, error=error) from error
            except (LibraryError, UsageError) as error:
                raise ImportRefused("{name} does not hold together, nothing was taken: {error}", name=name, error=error) from error
        yield path


def _named(name: str, act: Any, library: Library, other: Path) -> Added:
    try:
        added: Added = act(library, other)
    except ImportRefused as error:
        raise ImportRefused(str(error).replace(str(other), name)) from error
    return added


def _fill(filler: filling.Filler, parts: Mapping[str, list[dict[str, Any]]]) -> None:
    for n, d in enumerate(parts["setups"]):
        filler.setup(d["version_id"], rows.SETUPS.from_json(d), f"setups[{n}]")
    for n, d in enumerate(parts["lights"]):
        filler.light(d["id"], d["setup_id"], f"lights[{n}]")
    for n, d in enumerate(parts["lights"]):
        filler.light_version(d["version_id"], rows.LIGHTS.from_json(d), f"lights[{n}]")
    for n, d in enumerate(parts["placements"]):
        filler.placement(rows.PLACEMENTS.from_json(d), f"placements[{n}]")
    for n, d in enumerate(parts["calibrations"]):
        filler.calibration(rows.CALIBRATIONS.from_json(d), f"calibrations[{n}]")
    for n, d in enumerate(parts["readings"]):
        filler.reading(rows.READINGS.from_json(d), f"readings[{n}]")
    for n, d in enumerate(parts["marks"]):
        filler.mark(d["id"], d["reading_id"], d["at_s"], d.get("reason", ""), f"marks[{n}]")
    for n, d in enumerate(parts["notes"]):
        filler.note(d["id"], d["kind"], d["key"], d["at_s"], d.get("payload", {}), f"notes[{n}]")
    for n, d in enumerate(parts["waveforms"]):
        filler.waveform(d["reading_id"], d.get("pop_index", 0), _block(d, n), f"waveforms[{n}]")


def _block(d: Mapping[str, Any], n: int) -> WaveBlock:
    try:
        data = b64decode(d["data"], validate=True)
    except (binascii.Error, ValueError):
        raise ImportRefused("waveforms[{n}].data is not base64, nothing was taken: export it again", n=n) from None
    return rows.WAVEFORMS.from_json({"at_s": 0.0, "pop": 0, "segments": (), "pretrigger": 0, **d, "data": data})
