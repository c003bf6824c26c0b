"""Files that are written whole or not at all, and never in place of what is not theirs to replace."""

from __future__ import annotations

import os
import re
import sqlite3
import stat
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from urllib.parse import quote
from zlib import crc32

from meterlink.errors import StorageError, UsageError
from meterlink.words.language import say

NAME_BYTES_MAX = 200
"""Of a file's name that we make: file systems end at 255 bytes, and our endings have to fit."""
_STALE_S = 24 * 3600.0
_PARTIAL = re.compile(r"\.(?:[0-9a-f]{8})\.(?P<pid>\d+)\.partial(?:-wal|-shm|-journal)?")
_SQLITE = b"SQLite format 3\0"
APPLICATION_ID = 0x4D746C6B
"""Marks an SQLite file as a library of this program (bytes 68 to 71 of the file: "Mtlk")."""
BUSY = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


@contextmanager
def written_whole(target: Path, *, mode: int = 0o666) -> Iterator[Path]:
    """Give the block an empty file beside ``target`` to fill; sync it and give it the target's name when the block is done.

    ``mode``: the widest rights that the file may have (the umask narrows them).  What a killed program left of an earlier writing
    there is removed.  Raises ``UsageError`` for a target that is no ordinary file, ``StorageError`` when it cannot be written.
    """
    check_ordinary(target)
    remove_stale(target.parent)
    partial = target.with_name(f".{crc32(os.fsencode(target.name)):08x}.{os.getpid()}.partial")
    try:
        os.close(os.open(partial, os.O_CREAT | os.O_EXCL | os.O_WRONLY, mode & 0o777))
        yield partial
        sync_file(partial)
        partial.replace(target)
        sync_folder(target.parent)
    except OSError as error:
        raise StorageError(
            "{target} cannot be written ({strerror}): choose another place or free some space",
            target=target, strerror=error.strerror,
        ) from error
    finally:
        for leftover in (partial, *journals(partial)):
            leftover.unlink(missing_ok=True)


def write_whole(target: Path, data: bytes) -> None:
    """Write a document: whole or not at all, an earlier document of that name is replaced, a library never.

    Raises ``UsageError`` or ``StorageError``.
    """
    if is_sqlite(target):
        raise UsageError("{target} is a library or another database: choose another name for the document", target=target)
    with written_whole(target, mode=target.stat().st_mode if exists(target) else 0o666) as partial:
        partial.write_bytes(data)


def check_new(target: Path) -> None:
    """Refuse a name that stands for something already."""
    if exists(target):
        raise UsageError("{target} exists: choose another name, or have it replaced (--replace)", target=target)


def check_ordinary(target: Path) -> None:
    """Refuse what a file must not take the place of: a device, a pipe, a folder, a link (its target might be meant, or not)."""
    try:
        kind = target.lstat().st_mode
    except OSError:
        return
    if stat.S_ISLNK(kind):
        raise UsageError(
            "{target} is a link to {target_2}: name that file itself, or another one", target=target, target_2=target.readlink()
        )
    if not stat.S_ISREG(kind):
        what = say("a folder") if stat.S_ISDIR(kind) else say("a device or a pipe")
        raise StorageError("{target} is {what}, not a file: choose another name", target=target, what=what)


def exists(path: str | os.PathLike[str]) -> bool:
    """Say whether something stands there; a name that cannot be (``Path.exists`` raises) is none."""
    return os.path.exists(path)  # noqa: PTH110


def is_file(path: str | os.PathLike[str]) -> bool:
    """Say whether an ordinary file stands there, whatever the name."""
    return os.path.isfile(path)  # noqa: PTH113


def check_readable(path: Path) -> None:
    """Refuse to read what never ends or keeps one waiting: a pipe, a socket, a device."""
    if exists(path) and not is_file(path):
        what = say("a folder") if path.is_dir() else say("a device or a pipe")
        raise StorageError("{path} is {what}, not a file: copy what comes out of it into a file first", path=path, what=what)


def is_sqlite(path: Path) -> bool:
    """Say whether an ordinary file is an SQLite database."""
    return _head(path)[:16] == _SQLITE


def is_library(path: Path) -> bool:
    """Say whether a file is an SQLite file with this project's mark, without opening it as one."""
    head = _head(path)
    return head[:16] == _SQLITE and head[68:72] == APPLICATION_ID.to_bytes(4, "big")


def is_wal(path: Path) -> bool:
    """Say whether a database is in the mode with a write-ahead log (file format document of SQLite, section 1.3.3)."""
    head = _head(path)
    return head[:16] == _SQLITE and head[18:19] == b"\x02"


def _head(path: Path) -> bytes:
    try:
        if not is_file(path):
            return b""
        with path.open("rb") as file:
            return file.read(72)
    except OSError:
        return b""


def journals(path: Path) -> tuple[Path, ...]:
    """Return the names of the files that SQLite keeps beside a database."""
    return tuple(path.with_name(path.name + ending) for ending in ("-wal", "-shm", "-journal"))


def remove_stale(folder: Path) -> None:
    """Remove what writers that were killed left in a folder; those that still run are left alone."""
    with suppress(OSError):
        for entry in os.scandir(folder):
            found = _PARTIAL.fullmatch(entry.name)
            if found and not _runs(int(found["pid"]), entry):
                Path(entry.path).unlink()


def _runs(pid: int, entry: os.DirEntry[str]) -> bool:
    """Say whether a process may still be at work; where one cannot ask, a day is long enough."""
    if os.name != "posix":
        return time.time() - entry.stat().st_mtime < _STALE_S
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


def file_name(name: str, identifier: str, ending: str) -> str:
    """Return a file name for a record's name that every file system takes.

    Where the name cannot stand as it is (``a/b``, ninety wide letters), the end of the record's id keeps two such apart.
    """
    safe = re.sub(r"[^\w\- ]+", "_", name).strip()
    while len(safe.encode("utf-8", "replace")) > NAME_BYTES_MAX:
        safe = safe[:-1]
    if safe != name or not safe:
        safe = f"{safe or 'set-up'}-{identifier[-6:]}"
    return safe + ending


def sync_file(path: Path) -> None:
    """Wait until a file is on the disk."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def sync_folder(path: Path) -> None:
    """Make a rename itself durable, where folders can be synced at all."""
    if os.name != "posix":
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def file_uri(path: str | os.PathLike[str], options: str) -> str:
    """Return SQLite's URI of a file, whatever its name holds."""
    return f"file:{quote(os.fsencode(Path(path).absolute()))}?{options}"


def code_of(error: BaseException) -> int:
    """Return SQLite's primary result code of an error; 255, which is none, where it has no code."""
    return getattr(error, "sqlite_errorcode", 0xFF) & 0xFF


def is_busy(error: BaseException) -> bool:
    """Say whether another program holds the file."""
    return code_of(error) in BUSY
