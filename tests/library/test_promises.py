"""Promises of the store that a photographer would notice broken only on the day that she needs them."""

from __future__ import annotations

import os
import shutil
import sqlite3
import sys
import time
from pathlib import Path

import pytest
from library_sets import Set
from test_merge import content, one_set
from test_migrations import old_library

from meterlink.errors import ImportRefused, LibraryError, MeterlinkError
from meterlink.library import Library, connection
from meterlink.library.check import check
from meterlink.library.code import decode, encode, slim_document
from meterlink.library.export import write_json, write_library
from meterlink.library.importing import import_document
from meterlink.library.merge import merge
from meterlink.records import Light, Setup, ids, new_id


@pytest.mark.parametrize("how", ["new", "again", "migrated", "restored", "read only"])
def test_every_opening_waits_for_the_disk(tmp_path, how: str, monkeypatch) -> None:
    """However a library was opened - new, again, migrated, put back from a copy - each commit is on the disk when it returns."""
    monkeypatch.undo()
    assert connection.SYNCHRONOUS == "FULL"
    monkeypatch.setattr(connection, "SYNCHRONOUS", "EXTRA")  # some builds of SQLite have FULL anyway
    path = tmp_path / "a"
    if how == "migrated":
        old_library(path, 1)
    elif how != "new":
        one_set(path, "A")
    if how == "restored":
        with Library.open(path) as library:
            write_library(library, tmp_path / "copy")
        path = tmp_path / "copy"
    with Library.open(path, readonly=how == "read only") as library:
        assert library.db.row("PRAGMA synchronous") == (3,)
        assert library.db.row("PRAGMA foreign_keys") == (1,)
        if how != "read only":
            assert library.db.row("PRAGMA journal_mode") == ("wal",)


@pytest.mark.skipif(sys.platform != "linux", reason="descriptors are named in Linux's way")
def test_what_is_written_is_on_the_disk_under_its_name(tmp_path, monkeypatch) -> None:
    """A document, a copy and a backup: the file is synced before it gets its name, the folder after."""
    did: list[tuple[str, str]] = []
    real, rename = os.fsync, Path.replace

    def fsync(handle: int) -> None:
        did.append(("sync", str(Path(f"/proc/self/fd/{handle}").readlink())))
        real(handle)

    def replace(self: Path, target: Path) -> Path:
        did.append(("name", str(target)))
        return rename(self, target)

    with Library.open(one_set(tmp_path / "a", "A")) as library:
        monkeypatch.setattr(os, "fsync", fsync)
        monkeypatch.setattr(Path, "replace", replace)
        (tmp_path / "out").mkdir()
        for act, folder in (
            (lambda: write_json(library, tmp_path / "out" / "x.json"), tmp_path / "out"),
            (lambda: write_library(library, tmp_path / "out" / "x.sqlite"), tmp_path / "out"),
            (lambda: library.back_up("merge"), tmp_path / "a.backups"),
        ):
            did.clear()
            act()
            named = next(n for n, (what, _) in enumerate(did) if what == "name")
            assert any(what == "sync" and one.endswith(".partial") for what, one in did[:named])
            assert ("sync", str(folder)) in did[named:]


def test_a_reading_takes_no_place_of_its_own_or_of_another_set(library, filled) -> None:
    """A reading that supersedes itself, or is of a light of another set-up, or stands where another light stands: refused."""
    other = Set(library, "Other")
    reading = filled.reading()
    for wrong in (
        reading._replace(supersedes_id=reading.id),
        reading._replace(light_id=other.key.id),
        reading._replace(placement_id=filled.stands[filled.fill.id].id),
    ):
        with pytest.raises(MeterlinkError):
            library.add_reading(wrong)
    assert library.all_readings(filled.setup.id) == []


def test_what_comes_later_sorts_later_after_a_merge(tmp_path, monkeypatch) -> None:
    """Another machine whose clock runs an hour ahead: after its sets came in, what is made here is still the latest."""
    ahead = time.time() + 3600
    with Library.open(tmp_path / "b") as b:
        b.add_setup(Setup(new_id(ahead), "Ahead", ahead))
    with Library.open(tmp_path / "a") as a:
        monkeypatch.setattr(ids, "_last", 0)
        merge(a, tmp_path / "b")
        monkeypatch.setattr(a, "keep_ids_growing", lambda: None)
        assert new_id() > a.setup("Ahead").id
        light = Light(new_id(), a.setup("Ahead").id, "Key", "key")
        a.add_light(light)
        assert light.id > a.setup("Ahead").id


def test_a_log_beside_a_library_counts(tmp_path) -> None:
    """What a kill left in the write-ahead log is part of the library for everyone who only looks: check, merge, a reader."""
    with Library.open(one_set(tmp_path / "a", "A")) as library:
        Set(library, "Late")
        for name in ("a", "a-wal"):
            shutil.copy(tmp_path / name, tmp_path / f"killed{name[1:]}")
    assert (tmp_path / "killed-wal").stat().st_size > 0
    with Library.open(tmp_path / "killed", readonly=True) as looked:
        assert {s.name for s in looked.setups()} == {"A", "Late"}
    assert check(tmp_path / "killed").counts["setup"] == 2
    with Library.open(tmp_path / "c") as c:
        assert merge(c, tmp_path / "killed").setups == 2


def test_a_code_that_is_cut_off_or_has_a_tail_is_refused(tmp_path, library) -> None:
    """Each of the last 40 letters missing, and something behind: one line, nothing taken; the whole code is taken."""
    with Library.open(one_set(tmp_path / "source", "A")) as source:
        text = encode(slim_document(source, source.setup("A").id))
    before = content(library)
    for bad in (*(text[:-n] for n in range(1, 41)), text + "AAAA", text + "0" * 8, text + text):
        with pytest.raises(ImportRefused):
            import_document(library, decode(bad))
        assert content(library) == before
    assert import_document(library, decode(text)).setups == 1


def test_a_merge_that_fails_leaves_no_transaction_open(tmp_path, library, filled) -> None:
    """After a refused merge the very next reading is stored, and another program sees it at once."""
    bad = sqlite3.connect(one_set(tmp_path / "bad", "B"))
    bad.execute("UPDATE setup_version SET name_key = 'x'")
    bad.commit()
    bad.close()
    with pytest.raises((ImportRefused, LibraryError)):
        merge(library, tmp_path / "bad")
    reading = filled.add()
    with Library.open(library.path, readonly=True) as other:
        assert [r.id for r in other.all_readings(filled.setup.id)] == [reading.id]
