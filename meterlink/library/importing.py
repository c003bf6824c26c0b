"""What comes into a library from a JSON document: validated whole, shown first, then taken whole or not at all."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from meterlink.errors import ImportRefused, LibraryError, UsageError
from meterlink.library import rows
from meterlink.library.files import check_readable, is_library
from meterlink.library.filling import Filler
from meterlink.library.format import validate
from meterlink.library.merge import Added, merge, preview
from meterlink.library.store import Library
from meterlink.words.actions import Do

FILE_BYTES_MAX = 48 * 2**20
VALUES_MAX = 1_000_000
"""JSON values in one file: each costs a hundred bytes while it is read.  Bigger libraries travel as a library file."""


def import_file(library: Library, path: Path, *, trial: bool = False) -> Added:
    """Take a JSON document or another library's file; return how many records were new.  A trial adds nothing.

    Raises ``ImportRefused`` and takes nothing when anything in it is wrong.
    """
    if not is_library(path):
        return import_document(library, read(path), path.name, trial=trial)
    return preview(library, path) if trial else merge(library, path, "import")


def import_document(library: Library, doc: Any, name: str = "the document", *, trial: bool = False) -> Added:
    """Take a document that is already parsed (from a QR code, another program ...).  Raises ``ImportRefused``."""
    with _as_library(doc, name) as other:
        return preview(library, other, name) if trial else merge(library, other, "import", name=name)


def read(path: Path) -> Any:
    """Parse a JSON file within limits of size and number of values.  Raises ``ImportRefused``."""
    check_readable(path)
    try:
        with path.open("rb") as file:
            data = file.read(FILE_BYTES_MAX + 1)
    except OSError as error:
        raise ImportRefused(
            "{path} cannot be read ({strerror}): check the name and its rights", path=path, strerror=error.strerror
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
                with library.db.write():
                    Filler(library.db).fill(parts)
            except ImportRefused as error:
                raise ImportRefused("{name}: {error}", name=name, error=error) from error
            except (LibraryError, UsageError) as error:
                raise ImportRefused("{name} does not hold together, nothing was taken: {error}", name=name, error=error) from error
        yield path
