"""Rows straight from the pages of an SQLite file, whatever state its trees are in.

Reads every page that looks like one with rows, in any order, and decodes each cell on its own; what cannot be decoded is
skipped.  Follows the published "Database File Format" of SQLite (sqlite.org/fileformat2.html), sections 1.6 (pages),
1.5/4.1 (write-ahead log), 2.1 (records).
"""

from __future__ import annotations

import mmap
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

INDEX_INTERIOR, INDEX_LEAF, TABLE_LEAF = 0x02, 0x0A, 0x0D
PAYLOAD_MAX = 32 * 2**20
"""Larger than any row that a library has (a waveform is at most 16 MiB): a length beyond it is damage."""
_INTEGERS = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}


class Cell(NamedTuple):
    """One row: ``rowid`` is None in a table without row ids (and in indexes)."""

    rowid: int | None
    values: tuple[Any, ...]


class Damage(Exception):
    """A cell or page that cannot be decoded; caught here."""


class Pages:
    """The pages of a file as its last complete transaction left them, the write-ahead log included."""

    def __init__(self, path: Path) -> None:
        with path.open("rb") as file:
            self._data = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) if path.stat().st_size else b""
        self.size = _page_size(self._data[:18])
        self._logged = _logged_pages(Path(f"{path}-wal"), self.size)
        self.count = max([len(self._data) // self.size, *self._logged])

    def close(self) -> None:
        """Let go of the file."""
        if isinstance(self._data, mmap.mmap):
            self._data.close()

    def page(self, number: int) -> bytes:
        """Return a page by its number from 1.  Raises ``Damage`` past the end."""
        if number in self._logged:
            return self._logged[number]
        page = self._data[(number - 1) * self.size : number * self.size]
        if number < 1 or len(page) < self.size:
            raise Damage
        return page

    def cells(self) -> Iterator[Cell]:
        """Yield every row of every page that holds rows, entries of indexes too."""
        for number in range(1, self.count + 1):
            try:
                yield from self._cells_of(self.page(number), 100 if number == 1 else 0)
            except Damage:
                continue

    def _cells_of(self, page: bytes, start: int) -> Iterator[Cell]:
        kind = page[start]
        if kind not in (INDEX_INTERIOR, INDEX_LEAF, TABLE_LEAF):
            return
        (count,) = struct.unpack_from(">H", page, start + 3)
        first = start + (12 if kind == INDEX_INTERIOR else 8)
        if first + 2 * count > self.size:
            return
        for (at,) in struct.iter_unpack(">H", page[first : first + 2 * count]):
            try:
                yield self._cell(page, at + (4 if kind == INDEX_INTERIOR else 0), kind)
            except (Damage, IndexError, struct.error, UnicodeDecodeError):
                continue

    def _cell(self, page: bytes, at: int, kind: int) -> Cell:
        length, at = _varint(page, at)
        rowid = None
        if kind == TABLE_LEAF:
            rowid, at = _varint(page, at)
        if length > PAYLOAD_MAX:
            raise Damage
        return Cell(rowid, _record(self._payload(page, at, length, kind)))

    def _payload(self, page: bytes, at: int, length: int, kind: int) -> bytes:
        """Return a row's bytes, the part on overflow pages included."""
        usable = self.size
        most = usable - 35 if kind == TABLE_LEAF else (usable - 12) * 64 // 255 - 23
        if length <= most:
            local = length
        else:
            least = (usable - 12) * 32 // 255 - 23
            local = least + (length - least) % (usable - 4)
            local = local if local <= most else least
        payload = page[at : at + local]
        if len(payload) < local:
            raise Damage
        if local == length:
            return payload
        (number,) = struct.unpack_from(">I", page, at + local)
        parts, missing = [payload], length - local
        while missing > 0:
            overflow = self.page(number)
            (number,) = struct.unpack_from(">I", overflow)
            parts.append(overflow[4 : 4 + min(missing, usable - 4)])
            missing -= len(parts[-1])
        return b"".join(parts)


def _page_size(data: bytes) -> int:
    """Return the page size that the header gives, or SQLite's usual one when the header is damaged."""
    size = int.from_bytes(data[16:18], "big") if data[:16] == b"SQLite format 3\0" else 0
    size = 65536 if size == 1 else size
    return size if 512 <= size <= 65536 and size & (size - 1) == 0 else 4096


def _logged_pages(path: Path, size: int) -> dict[int, bytes]:
    """Return the newest version of each page in the write-ahead log, up to its last complete transaction."""
    try:
        log = path.read_bytes()
    except OSError:
        return {}
    found: dict[int, bytes] = {}
    pending: dict[int, bytes] = {}
    for at in range(32, len(log) - size - 23, size + 24):
        number, committed = struct.unpack_from(">II", log, at)
        if log[at + 8 : at + 16] != log[16:24] or not 0 < number < 2**31:
            break  # left over from before the log was started anew
        pending[number] = log[at + 24 : at + 24 + size]
        if committed:
            found |= pending
            pending = {}
    return found


def _varint(data: bytes, at: int) -> tuple[int, int]:
    value = 0
    for n in range(9):
        byte = data[at + n]
        if n == 8:
            return (value << 8) | byte, at + 9
        value = (value << 7) | (byte & 0x7F)
        if byte < 0x80:
            return value, at + n + 1
    raise Damage


def _record(payload: bytes) -> tuple[Any, ...]:
    """Decode a row: a header of type codes, then the values."""
    header, at = _varint(payload, 0)
    if header > len(payload):
        raise Damage
    values: list[Any] = []
    body = header
    while at < header:
        code, at = _varint(payload, at)
        value, body = _value(payload, body, code)
        values.append(value)
    return tuple(values)


def _value(payload: bytes, at: int, code: int) -> tuple[Any, int]:
    if code == 0:
        return None, at
    if code in (8, 9):
        return code - 8, at
    size = _INTEGERS.get(code, 8 if code == 7 else (code - 12) // 2 if code >= 12 else -1)
    data = payload[at : at + size] if size >= 0 else b""
    if size < 0 or len(data) < size:
        raise Damage
    if code == 7:
        return struct.unpack(">d", data)[0], at + size
    if code in _INTEGERS:
        return int.from_bytes(data, "big", signed=True), at + size
    return (data.decode() if code % 2 else data), at + size
