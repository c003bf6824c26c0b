"""Backups: when they are made, which are kept, how one is put in place, and that a pop does not wait for them."""

from __future__ import annotations

import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from library_sets import Set, block
from test_merge import content, one_set

from meterlink.errors import LibraryBusy, NotInLibrary
from meterlink.library import Library, backup
from meterlink.library.backup import Backups
from meterlink.library.check import check
from meterlink.library.export import write_json
from meterlink.library.importing import import_file
from meterlink.library.merge import merge

ROOT = Path(__file__).resolve().parents[2]


def reasons(path: Path) -> list[str]:
    """Why there are backups, newest first."""
    return [one.reason for one in Backups(path).all()]


def test_a_backup_comes_before_each_big_change(tmp_path) -> None:
    """Merge and import keep what was there before them; the copy is the library of that moment."""
    one_set(tmp_path / "b", "B")
    one_set(tmp_path / "c", "C")
    with Library.open(tmp_path / "c") as c:
        write_json(c, tmp_path / "c.json")
    with Library.open(one_set(tmp_path / "a", "A")) as a:
        before = content(a)
        merge(a, tmp_path / "b")
        import_file(a, tmp_path / "c.json")
        kept = Backups(tmp_path / "a").all()
        assert [one.reason for one in kept if one.reason != "day"] == ["import", "merge"]
        with Library.open(kept[-1].path, readonly=True) as first:
            assert content(first) == before
        assert all(one.size_bytes > 10_000 for one in kept)


def test_the_first_write_of_a_day_makes_one_and_the_second_none(tmp_path) -> None:
    """One copy a day, begun by a write; looking makes none, and neither does a library that begins today."""
    path = tmp_path / "a"
    with Library.open(path) as library:
        Set(library).add()
    assert reasons(path) == []
    with Library.open(path) as library:
        library.setups()
    assert reasons(path) == []
    for _ in range(2):
        with Library.open(path) as library:
            library.remember("a", 1)
    assert reasons(path) == ["day"]


@pytest.mark.parametrize("ahead", [0, 400])
def test_seven_days_and_four_weeks_are_kept(tmp_path, ahead: int) -> None:
    """Of a hundred days of backups the newest five, seven days and four weeks stay, a wrong clock's included in neither case."""
    path = one_set(tmp_path / "a", "A")
    folder = Backups(path).folder
    folder.mkdir()
    now = datetime.now(UTC)
    for day in range(1, 101):
        for hour in (9, 15):
            when = (now - timedelta(days=day)).replace(hour=hour) + timedelta(days=ahead if day == 1 else 0)
            (folder / f"{when:%Y%m%dT%H%M%S.%fZ}-day.sqlite").write_bytes(b"x")
    with Library.open(path) as library:
        library.back_up("merge")
    kept = Backups(path).all()
    days = {one.path.name[:8] for one in kept}

    assert f"{now:%Y%m%d}" in days
    assert [one.reason for one in kept].count("merge") == 1
    assert 7 <= len(days) <= 12
    ages = sorted((now.date() - datetime.fromtimestamp(one.made_at_s, UTC).date()).days for one in kept)
    assert ages[-1] >= 14
    assert len(kept) <= 5 + 7 + 4


def test_restore_puts_the_copy_in_place_and_keeps_what_stood_there(tmp_path) -> None:
    """After a restore the library is as it was; going back once more brings back what was there before it."""
    path = one_set(tmp_path / "a", "A")
    with Library.open(path) as library:
        before = content(library)
        library.back_up("merge")
        Set(library, "Later").add()
        after = content(library)
    (copy,) = [one.path for one in Backups(path).all() if one.reason == "merge"]
    kept = Backups(path).restore(Backups(path).named(copy.name))
    with Library.open(path) as library:
        assert content(library) == before
        assert library.db.row("PRAGMA journal_mode") == ("wal",)
        Set(library, "Goes on").add()
    assert kept is not None
    Backups(path).restore(kept)
    with Library.open(path) as library:
        assert content(library) == after


@pytest.mark.parametrize("damage", ["noise", "cut", "empty"])
def test_restore_over_a_damaged_file_keeps_its_bytes(tmp_path, damage: str) -> None:
    """What can no longer be read is kept byte for byte, beside the backups; never rotated away, nor put back as the latest."""
    path = one_set(tmp_path / "a", "A")
    with Library.open(path) as library:
        before = content(library)
        library.back_up("merge")
    data = path.read_bytes()
    bad = {"noise": random.Random(1).randbytes(len(data)), "cut": data[: len(data) // 3], "empty": b""}[damage]
    path.write_bytes(bad)
    kept = Backups(path).restore(Backups(path).named("latest"))

    assert kept is not None
    assert kept.name.endswith("-damaged.sqlite")
    assert Backups(path).named("latest") != kept
    assert kept.read_bytes() == bad
    with Library.open(path) as library:
        assert content(library) == before
    assert check(path).sound


def test_restore_under_a_running_program_is_refused(tmp_path) -> None:
    """While somebody has the library open nothing is put in its place."""
    path = one_set(tmp_path / "a", "A")
    with Library.open(path) as library:
        library.back_up("merge")
        with pytest.raises(LibraryBusy, match="close that first"):
            Backups(path).restore(Backups(path).all()[0].path)
    with pytest.raises(NotInLibrary, match="store backups"):
        Backups(path).named("none")


@pytest.fixture
def large(tmp_path) -> Path:
    """A library of some 30 MB, made yesterday."""
    path = tmp_path / "large"
    with Library.open(path) as library:
        one = Set(library)
        one.add(waveform=block(2000))
        with library.db.write() as connection:
            connection.execute("CREATE TABLE ballast (data)")
            connection.executemany("INSERT INTO ballast VALUES (?)", [(random.Random(n).randbytes(100_000),) for n in range(300)])
    return path


def test_a_pop_does_not_wait_for_the_copy_of_the_day(large: Path, monkeypatch) -> None:
    """While 30 MB are copied behind her back, readings are on the disk at once, and the copy is of one moment."""
    monkeypatch.setattr(backup, "START_AFTER_S", 0.0)
    monkeypatch.setattr(backup, "_PAUSE_S", 0.03)
    threads = threading.active_count()
    with Library.open(large) as library:
        one = Set(library, "Today")
        took = []
        while not reasons(large) and len(took) < 5000:
            start = time.perf_counter()
            one.add()
            took.append(time.perf_counter() - start)
            time.sleep(0.005)
        took.sort()
        assert reasons(large) == ["day"]
        assert len(took) > 20
        assert took[len(took) // 2] < 0.05
        assert len(library.all_readings(one.setup.id)) == len(took)
    (kept,) = Backups(large).all()
    copy = sqlite3.connect(kept.path)
    assert copy.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert copy.execute("PRAGMA foreign_key_check").fetchall() == []
    copy.close()
    assert threading.active_count() == threads


KILLED = """
import sys
sys.path[:0] = [sys.argv[1], sys.argv[1] + "/tests/library"]
from library_sets import Set
from meterlink.library import Library, backup
backup.START_AFTER_S = 0.0
library = Library.open(sys.argv[2])
one = Set(library, "Killed " + sys.argv[3])
while True:
    print(one.add().id, flush=True)
"""


def test_a_kill_in_the_copy_of_the_day_loses_nothing(large: Path) -> None:
    """20 kills while the day's copy is under way: every accepted reading is there, no half copy counts, the rests go."""
    chance = random.Random(11)
    for turn in range(20):
        shutil.rmtree(Backups(large).folder, ignore_errors=True)
        command = [sys.executable, "-c", KILLED, str(ROOT), str(large), str(turn)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
            assert process.stdout is not None
            accepted = {process.stdout.readline().strip()}
            time.sleep(chance.uniform(0, 0.15))
            process.send_signal(signal.SIGKILL)
            accepted |= {line.strip() for line in process.stdout.read().splitlines() if len(line.strip()) == 32}
        for one in Backups(large).all():
            assert check(one.path).counts["reading"] > 0
        with Library.open(large) as library:
            assert accepted <= {r.id for r in library.all_readings(library.setup(f"Killed {turn}").id)}
            assert not list(Backups(large).folder.glob(".*"))
