"""Older libraries arrive at today's schema, with a safe copy, or stay as they were."""

from __future__ import annotations

import re
import sqlite3
from pathlib import Path

import pytest

from meterlink.errors import LibraryError, StorageError
from meterlink.library import Library, fields, files, migrations
from meterlink.library.backup import Backups
from meterlink.library.migrations import SCHEMA_VERSION

OLD = {n: Path(__file__).parent / "data" / f"schema-{n}.sql" for n in (1, 2, 3)}


def old_library(path: Path, version: int) -> Path:
    """Make the file that an older meterlink left behind."""
    connection = sqlite3.connect(path)
    connection.executescript(OLD[version].read_text())
    connection.execute("PRAGMA journal_mode=WAL")
    connection.close()
    return path


def shape(path: Path) -> set[tuple[str, str]]:
    """Return every table's and index's definition, without white space and comments, numbers written one way."""
    connection = sqlite3.connect(path)
    found = connection.execute("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL").fetchall()
    connection.close()
    plain = ((name, re.sub(r"--[^\n]*|[\s\"]+", "", sql)) for name, sql in found)
    return {(name, re.sub(r"(?<=\d)e\+?(-?)0*(?=\d)", r"e\1", sql)) for name, sql in plain}


@pytest.mark.parametrize("version", [1, 2])
def test_old_library_arrives_with_all_it_had(tmp_path, version: int) -> None:
    """A file of every older schema becomes what a new file would be, and its records are read as before."""
    old = old_library(tmp_path / "old.sqlite", version)
    Library.open(tmp_path / "new.sqlite").close()
    with Library.open(old) as library:
        assert library.db.row("PRAGMA user_version") == (SCHEMA_VERSION,)
        setup = library.current_setup()
        assert [r.exposure_lxs for r in library.readings(setup.id)] == [13.0, 6.0]
        assert [len(r.pops) for r in library.all_readings(setup.id)] == [1, 1, 2, 1]
        assert library.waveform(library.all_readings(setup.id)[0].id).data[:3] == bytes([3, 4, 5])
        assert library.settings().min_gap_s == 1.0
        assert library.db.rows("PRAGMA foreign_key_check") == []

    assert shape(old) == shape(tmp_path / "new.sqlite")


@pytest.mark.parametrize("version", [1, 2])
def test_safe_copy_is_the_old_file(tmp_path, version: int) -> None:
    """Before anything changes a whole copy of the old version lies beside the library."""
    old = old_library(tmp_path / "old.sqlite", version)
    Library.open(old).close()
    (backup,) = Backups(old).all()
    copy = sqlite3.connect(backup.path)

    assert copy.execute("PRAGMA user_version").fetchone() == (version,)
    assert copy.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert copy.execute("SELECT count(*) FROM reading").fetchone() == (4,)
    copy.close()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["old.sqlite", "old.sqlite.backups"]


def test_no_room_for_the_copy_means_no_migration(tmp_path, monkeypatch) -> None:
    """When the safe copy cannot be written the library is left at its version, and the error says what to do."""
    old = old_library(tmp_path / "old.sqlite", 1)

    def no_room(path: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files, "sync_file", no_room)
    with pytest.raises(StorageError, match="free some space"):
        Library.open(old)
    connection = sqlite3.connect(old)

    assert connection.execute("PRAGMA user_version").fetchone() == (1,)
    connection.close()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["old.sqlite", "old.sqlite.backups"]
    assert list((tmp_path / "old.sqlite.backups").iterdir()) == []


def test_a_step_that_fails_leaves_the_version_before(tmp_path, monkeypatch) -> None:
    """Change and record are one transaction: half a step is no step."""
    old = old_library(tmp_path / "old.sqlite", 1)
    broken = ("broken", ("CREATE TABLE half (a)", "CREATE TABLE half (a)"))
    monkeypatch.setattr(migrations, "MIGRATIONS", (migrations.MIGRATIONS[0], broken))
    with pytest.raises(LibraryError):
        Library.open(old)
    connection = sqlite3.connect(old)

    assert connection.execute("PRAGMA user_version").fetchone() == (1,)
    assert connection.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'half'").fetchone() == (0,)
    connection.close()


def test_read_only_opening_does_not_migrate(tmp_path) -> None:
    """Looking at an old library never changes it; the message says how to bring it up to date."""
    old = old_library(tmp_path / "old.sqlite", 1)
    before = old.read_bytes()
    with pytest.raises(StorageError, match="open it for writing once"):
        Library.open(old, readonly=True)
    assert old.read_bytes() == before
    assert not list(tmp_path.glob("*.backups"))


@pytest.mark.parametrize("version", [1, 2, 3])
def test_a_column_of_a_later_schema_comes_into_old_and_new_files_alike(tmp_path, monkeypatch, version: int) -> None:
    """A field that the table of fields has since schema 4 is a column there, however old the file is; its limits hold."""
    field = fields.Field("number", low=0, high=100, null=True, since=4)
    monkeypatch.setitem(fields.COLUMNS["placement"], "fog_percent", field)
    steps = (*migrations.MIGRATIONS, ("fog", ()))
    monkeypatch.setattr(migrations, "MIGRATIONS", steps)
    columns = []
    for path in (old_library(tmp_path / "old.sqlite", version), tmp_path / "new.sqlite"):
        connection = sqlite3.connect(path, isolation_level=None)
        assert migrations.migrate(connection, str(path), 4) == 4
        columns.append([row[1:3] for row in connection.execute("PRAGMA table_info(placement)")])
        with pytest.raises(sqlite3.IntegrityError, match="fog_percent"):
            connection.execute(
                "INSERT INTO placement (id, light_no, created_at_s, shape, fog_percent) VALUES (randomblob(16), 1, 0, 0, -1)"
            )
        connection.close()
    assert columns[0] == columns[1]
    assert columns[0][-1] == ("fog_percent", "REAL")


def test_no_column_is_newer_than_the_last_step() -> None:
    """A column of the table of fields whose step is missing would never come into an older file."""
    assert max(field.since for table in fields.COLUMNS.values() for field in table.values()) <= SCHEMA_VERSION
