"""The file itself: opening, refusing, sharing, and errors that say what to do."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path
from types import SimpleNamespace
from typing import Any, ClassVar

import pytest

from meterlink.errors import (
    LibraryBusy,
    LibraryDamaged,
    LibraryTooNew,
    NotInLibrary,
    StorageError,
)
from meterlink.library import Library, connection
from meterlink.library.check import check
from meterlink.library.files import APPLICATION_ID, check_ordinary
from meterlink.library.migrations import SCHEMA_VERSION
from meterlink.library.store import default_path
from meterlink.records import Setup, new_id
from meterlink.words.language import use

ROOT = Path(__file__).resolve().parents[2]


def test_a_new_file_has_the_habits_of_the_design(path, monkeypatch) -> None:
    """WAL, full synchronisation, foreign keys, a mark of our own and a schema number."""
    monkeypatch.undo()
    names = ("journal_mode", "synchronous", "foreign_keys", "application_id", "user_version", "trusted_schema")
    with Library.open(path) as library:
        ask = [library.db.row(f"PRAGMA {name}")[0] for name in names]
        migrations = [r[0] for r in library.db.rows("SELECT number FROM migration")]

    assert ask == ["wal", 2, 1, APPLICATION_ID, SCHEMA_VERSION, 0]
    assert migrations == list(range(1, SCHEMA_VERSION + 1))


def test_missing_file_is_not_made_when_only_looking(path) -> None:
    """Reading a library that is not there names the command that begins one."""
    for how in ({"create": False}, {"readonly": True}):
        with pytest.raises(NotInLibrary, match="setup new"):
            Library.open(path, **how)
    assert not path.exists()


def test_newer_library_is_left_alone(path) -> None:
    """A file of a newer schema is refused with its number and not touched."""
    Library.open(path).close()
    other = sqlite3.connect(path)
    other.execute("PRAGMA user_version=999")
    other.close()
    before = path.read_bytes()
    with pytest.raises(LibraryTooNew, match="update meterlink") as caught:
        Library.open(path)

    assert caught.value.version == 999
    assert path.read_bytes() == before


@pytest.mark.parametrize("content", [b"plain text, no database" * 50, b"SQLite format 3\0" + bytes(5000)])
def test_a_file_that_is_no_database_is_refused_unchanged(path, content: bytes) -> None:
    """Any other file is called damaged in one line and not written to."""
    path.write_bytes(content)
    with pytest.raises(LibraryDamaged) as caught:
        Library.open(path)
    assert "\n" not in str(caught.value)
    assert path.read_bytes() == content


@pytest.mark.parametrize("options", [{}, {"create": False}, {"readonly": True}], ids=str)
def test_a_file_of_one_byte_is_not_empty(path, options: dict[str, bool]) -> None:
    """SQLite itself takes it for an empty database and would write over it: it is refused as any other, nothing beside it."""
    path.write_bytes(b"x")

    with pytest.raises(LibraryDamaged, match="another program: choose another file"):
        Library.open(path, **options)
    assert (path.read_bytes(), [*path.parent.iterdir()]) == (b"x", [path])


def test_database_of_another_program_is_refused_unchanged(path) -> None:
    """An SQLite file without our mark is somebody else's."""
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE recipes (name)")
    other.close()
    before = path.read_bytes()
    with pytest.raises(LibraryDamaged, match="another program"):
        Library.open(path)
    assert path.read_bytes() == before


def test_folders_are_named_when_they_are_the_trouble(tmp_path) -> None:
    """A missing folder and a folder in place of a file are different troubles, both in words."""
    with pytest.raises(StorageError, match="does not exist"):
        Library.open(tmp_path / "no" / "library.sqlite")
    with pytest.raises(StorageError, match="not a file"):
        Library.open(tmp_path)


def test_a_folder_in_place_of_a_file_is_said_in_one_language(tmp_path: Path) -> None:
    """Not a German sentence with English words in it."""
    use("de")
    with pytest.raises(StorageError, match="keine Datei \\(ein Ordner\\)"):
        check_ordinary(tmp_path)


def test_what_is_no_library_is_not_to_be_checked_once_more(tmp_path: Path) -> None:
    """Whoever checks a file is told what is wrong with it, and not to check it."""
    path = tmp_path / "broken.sqlite"
    path.write_bytes(b"no library at all" * 400)

    (finding,) = check(path).findings
    assert "store check" not in str(finding.said)
    assert "not a database" in str(finding.said)


def test_default_path_follows_the_environment(monkeypatch, tmp_path) -> None:
    """METERLINK_LIBRARY names the file; without it, it is in the user's data folder, which is made."""
    monkeypatch.setenv("METERLINK_LIBRARY", "/some/where.sqlite")
    assert default_path() == "/some/where.sqlite"
    monkeypatch.delenv("METERLINK_LIBRARY")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path))
    assert Path(default_path()).parent.is_dir()
    assert tmp_path in Path(default_path()).parents


def test_busy_library_says_so_after_the_wait(path, monkeypatch) -> None:
    """A write lock that another process keeps too long is named; afterwards everything works."""
    monkeypatch.setattr(connection, "BUSY_TIMEOUT_S", 0.05)
    with Library.open(path) as library:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(LibraryBusy, match="in use by another program"):
            library.add_setup(Setup(new_id(), "One", 1.0))
        other.execute("ROLLBACK")
        other.close()
        library.add_setup(Setup(new_id(), "One", 1.0))
        assert len(library.setups()) == 1


def test_full_disk_loses_nothing_that_was_accepted(filled) -> None:
    """When no page is left the reading is refused in words, what was there stays, and room makes it work again."""
    library = filled.library
    (pages,) = library.db.row("PRAGMA page_count")
    library.db.row(f"PRAGMA max_page_count={pages}")
    kept = []

    def fill() -> None:
        while len(kept) < 10_000:
            kept.append(filled.add())

    with pytest.raises(StorageError, match="disk is full"):
        fill()
    assert library.all_readings(filled.setup.id) == kept
    library.db.row("PRAGMA max_page_count=1000000")
    kept.append(filled.add())
    assert library.all_readings(filled.setup.id) == kept


FULL = """
import resource, signal, sys
sys.path[:0] = [sys.argv[2], sys.argv[2] + "/tests/library"]
from library_sets import Set
from meterlink.errors import StorageError
from meterlink.library import Library
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
library = Library.open(sys.argv[1])
one = Set(library)
resource.setrlimit(resource.RLIMIT_FSIZE, (600_000, 600_000))
n = 0
try:
    while n < 10_000:
        one.add()
        n += 1
except StorageError as error:
    print(n, len(library.all_readings(one.setup.id)), error)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="file size limits are a POSIX matter")
def test_file_that_cannot_grow_is_a_storage_error(path) -> None:
    """A real write that fails for want of room (a file size limit) keeps every accepted reading and says what to do."""
    done = subprocess.run([sys.executable, "-c", FULL, str(path), str(ROOT)], capture_output=True, text=True, check=True)
    accepted, readable, message = done.stdout.strip().split(" ", 2)

    assert int(accepted) > 30
    assert accepted == readable
    assert "space" in message or "disk" in message
    with Library.open(path) as library:
        assert len(library.all_readings(library.setups()[0].id)) == int(accepted)


READ_ONLY = """
import os, sys, urllib.parse
sys.path.insert(0, sys.argv[2])
from meterlink.errors import MeterlinkError
from meterlink.library import Library
from meterlink.records import Setup, new_id
if os.getuid() == 0:
    os.setgid(65534)
    os.setuid(65534)
try:
    library = Library.open(sys.argv[1])
    print(len(library.setups()))
    library.add_setup(Setup(new_id(), "Two", 1.0))
except MeterlinkError as error:
    print(type(error).__name__, error)
"""


def as_reader(path: Path) -> list[str]:
    """Open the library in another process as a user who may not write, list, then try to add; return its lines."""
    done = subprocess.run([sys.executable, "-c", READ_ONLY, str(path), str(ROOT)], capture_output=True, text=True, check=True)
    return done.stdout.splitlines()


@pytest.mark.skipif(sys.platform == "win32", reason="file modes are a POSIX matter")
def test_read_only_folder_can_be_read_and_says_why_it_cannot_be_written(filled) -> None:
    """A library on a read-only card opens for looking; writing names the rights."""
    folder = Path(tempfile.gettempdir()) / f"meterlink-{new_id()}"
    folder.mkdir(mode=0o755)
    try:
        copy = folder / "library.sqlite"
        filled.library.db.connection.execute("VACUUM INTO ?", (str(copy),))
        wal = sqlite3.connect(copy)
        wal.execute("PRAGMA journal_mode=WAL")
        wal.close()
        copy.chmod(0o444)
        folder.chmod(0o555)
        lines = as_reader(copy)
        missing = as_reader(folder / "new.sqlite")
    finally:
        folder.chmod(0o755)
        for file in folder.iterdir():
            file.unlink()
        folder.rmdir()

    assert lines[0] == "1"
    assert lines[1].startswith("StorageError")
    assert "check the rights" in lines[1]
    assert missing[0].startswith("StorageError")


def test_read_only_library_refuses_writes_in_words(path) -> None:
    """A library opened for looking only says so when something wants to write."""
    Library.open(path).close()
    with Library.open(path, readonly=True) as library:
        assert library.setups() == []
        with pytest.raises(StorageError):
            library.add_setup(Setup(new_id(), "One", 1.0))


MANY = """
import sys
sys.path[:0] = [sys.argv[2], sys.argv[2] + "/tests/library"]
from library_sets import Set
from meterlink.library import Library
with Library.open(sys.argv[1]) as library:
    one = Set(library, sys.argv[3])
    for n in range(100):
        one.add(exposure_lxs=float(n + 1))
"""


class _Overtaken(sqlite3.Connection):
    """A connection that another process overtakes: when it has seen that there is no mark the file becomes a library."""

    path: ClassVar[str]

    def execute(self, sql: str, *arguments: Any) -> Any:
        found = super().execute(sql, *arguments)
        if sql == "PRAGMA application_id" and not Path(f"{self.path}-made").exists():
            found = iter([found.fetchone()])
            Path(f"{self.path}-made").touch()
            code = "import sys; from meterlink.library import Library; Library.open(sys.argv[1]).close()"
            subprocess.run([sys.executable, "-c", code, self.path], check=True, cwd=ROOT)
            return SimpleNamespace(fetchone=lambda: next(found))
        return found


def test_a_library_that_another_process_makes_meanwhile_is_ours(path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It was refused as another program's: empty at the first question, full of tables at the next."""
    _Overtaken.path = str(path)
    connect = sqlite3.connect
    monkeypatch.setattr(sqlite3, "connect", lambda *args, **kwargs: connect(*args, **{**kwargs, "factory": _Overtaken}))
    with Library.open(path) as library:
        assert library.setups() == []


def test_processes_that_begin_and_fill_one_library_together_lose_nothing(path) -> None:
    """Three processes create the same file at once and write into it: every reading of each is there."""
    running = [
        subprocess.Popen([sys.executable, "-c", MANY, str(path), str(ROOT), f"Set {n}"], stderr=subprocess.PIPE) for n in range(3)
    ]
    assert [(p.communicate()[1], p.returncode) for p in running] == [(b"", 0)] * 3
    with Library.open(path) as library:
        for n in range(3):
            readings = library.readings(library.setup(f"Set {n}").id)
            assert [r.exposure_lxs for r in readings] == [float(k + 1) for k in range(100)]
