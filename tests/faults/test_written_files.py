"""Whatever stands where a file is to be written: nothing that is not ours to replace is replaced, nothing half-written stays."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest
from library_sets import Set, block
from tallies import Tally
from test_merge import content, one_set

from meterlink.errors import LibraryBusy, MeterlinkError, StorageError, UsageError
from meterlink.library import Library
from meterlink.library.check import check
from meterlink.library.export import document, write_json, write_library
from meterlink.library.files import file_name, write_whole
from meterlink.library.merge import merge

ROOT = Path(__file__).resolve().parents[2]


def test_a_copy_onto_the_library_in_use_is_refused_by_every_name(tmp_path) -> None:
    """By its own name, another path and a hard link, with and without --replace: 12 tries, every reading stays."""
    with Library.open(one_set(tmp_path / "a", "A")) as library:
        os.link(tmp_path / "a", tmp_path / "hard")
        (tmp_path / "soft").symlink_to(tmp_path / "a")
        (tmp_path / "folder").mkdir()
        before = content(library)
        for name in ("a", "folder/../a", "hard", "soft"):
            for replace in (False, True):
                with pytest.raises(UsageError):
                    write_library(library, tmp_path / name, replace=replace)
            with pytest.raises(UsageError):
                write_json(library, tmp_path / name)
        assert content(library) == before
    assert check(tmp_path / "a").sound


def test_another_library_is_replaced_only_when_asked_and_not_while_in_use(tmp_path) -> None:
    """An existing library needs --replace; one that is open is refused; a foreign file is refused always."""
    one_set(tmp_path / "b", "B")
    foreign = sqlite3.connect(tmp_path / "foreign")
    foreign.execute("CREATE TABLE recipes (name)")
    foreign.close()
    (tmp_path / "text").write_text("mine")
    with Library.open(one_set(tmp_path / "a", "A")) as a:
        with pytest.raises(UsageError, match="--replace"):
            write_library(a, tmp_path / "b")
        for name in ("foreign", "text"):
            with pytest.raises(UsageError):
                write_library(a, tmp_path / name, replace=True)
        with Library.open(tmp_path / "b"), pytest.raises(LibraryBusy):
            write_library(a, tmp_path / "b", replace=True)
        with Library.open(tmp_path / "b", readonly=True) as b:
            assert [s.name for s in b.setups()] == ["B"]
        write_library(a, tmp_path / "b", replace=True)
        with Library.open(tmp_path / "b") as b:
            assert content(a) == content(b)
    assert (tmp_path / "text").read_text() == "mine"


def test_a_leftover_log_is_not_played_into_a_copy(tmp_path) -> None:
    """A -wal that a kill left at the target belongs to another file: the copy is whole."""
    with Library.open(one_set(tmp_path / "x", "X")) as x:
        Set(x, "More").add()
        shutil.copy(tmp_path / "x-wal", tmp_path / "kept-wal")
    shutil.move(tmp_path / "kept-wal", tmp_path / "copy-wal")
    with Library.open(one_set(tmp_path / "a", "A")) as a:
        write_library(a, tmp_path / "copy")
        assert check(tmp_path / "copy").sound
        with Library.open(tmp_path / "copy") as copy:
            assert content(copy) == content(a)


@pytest.mark.skipif(sys.platform == "win32", reason="file modes are a POSIX matter")
def test_a_copy_is_no_more_open_than_its_library(tmp_path) -> None:
    """A library that only its owner reads has copies and backups that only the owner reads."""
    path = one_set(tmp_path / "a", "A")
    path.chmod(0o600)
    with Library.open(path) as a:
        write_library(a, tmp_path / "copy")
        a.back_up("merge")
        backup = next((tmp_path / "a.backups").iterdir())
    for file in (tmp_path / "copy", backup):
        assert stat.S_IMODE(file.stat().st_mode) == 0o600


@pytest.mark.skipif(sys.platform == "win32", reason="pipes and devices in folders are a POSIX matter")
def test_devices_pipes_and_links_are_not_replaced(tmp_path) -> None:
    """A document, a copy, a picture written to a pipe, a link, a folder: one line each, and they are what they were."""
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "real").write_text("mine")
    (tmp_path / "link").symlink_to(tmp_path / "real")
    (tmp_path / "folder").mkdir()
    with Library.open(one_set(tmp_path / "a", "A")) as a:
        for name in ("pipe", "link", "folder"):
            for act in (lambda t: write_whole(t, b"x"), lambda t: write_library(a, t), lambda t: write_library(a, t, replace=True)):
                with pytest.raises(MeterlinkError) as caught:
                    act(tmp_path / name)
                assert "\n" not in str(caught.value)
    assert stat.S_ISFIFO((tmp_path / "pipe").stat().st_mode)
    assert (tmp_path / "real").read_text() == "mine"


def test_names_never_share_a_file() -> None:
    """a/b and a:b, ninety wide letters, dots and nothing: each has its own file name that every system takes."""
    names = ["a/b", "a:b", "a_b", "..", "", " ", "光" * 90, "光" * 91, "CON.", "x" * 300]
    files = [file_name(name, f"{n:032x}", ".html") for n, name in enumerate(names)]
    assert len(set(files)) == len(files)
    assert all(len(f.encode()) < 230 and "/" not in f and ":" not in f and not f.startswith(".") for f in files)
    assert file_name("Window wall", "0" * 32, ".html") == "Window wall.html"


LONG = {
    "300 letters": "x" * 300,
    "90 wide letters": "光" * 90,
    "not UTF-8": os.fsdecode(b"li\xff\xfebrary"),
    "a question": "a?b=c&d#e%41",
}


@pytest.mark.skipif(sys.platform != "linux", reason="what a file name may hold differs")
@pytest.mark.parametrize("name", LONG.values(), ids=LONG.keys())
def test_odd_paths_work_or_say_why(tmp_path, name: str) -> None:
    """Libraries, copies, merges and documents at odd paths: they work, or refuse in one line."""
    with Library.open(one_set(tmp_path / "plain", "P")) as plain:
        _go_through(plain, tmp_path, name)
    assert not list(tmp_path.glob(".*"))


def _go_through(plain: Library, tmp_path: Path, name: str) -> None:
    for act in (
        lambda: one_set(tmp_path / name, "A"),
        lambda: check(tmp_path / name),
        lambda: merge(plain, tmp_path / name),
        lambda: write_whole(tmp_path / (name + ".json"), b"{}"),
        lambda: write_library(plain, tmp_path / (name + "2")),
    ):
        try:
            act()
        except MeterlinkError as error:
            assert "\n" not in str(error)  # noqa: PT017
            assert len(os.fsencode(name)) > 250


def test_memory_is_no_place_for_a_library() -> None:
    """':memory:' would forget each accepted reading at the end: refused in words."""
    with pytest.raises(StorageError, match="keeps nothing"):
        Library.open(":memory:")


AS_READER = """
import os, sys
sys.path.insert(0, sys.argv[1])
from meterlink.library import Library
from meterlink.library.merge import merge
import meterlink.library.migrations, meterlink.library.schema  # the clone may be another user's
os.setgid(65534); os.setuid(65534)
with Library.open(sys.argv[2]) as library:
    print(merge(library, sys.argv[3]))
"""


@pytest.mark.skipif(sys.platform == "win32" or os.geteuid() != 0, reason="needs to become another user")
@pytest.mark.parametrize("killed", [False, True])
def test_merge_from_a_folder_that_cannot_be_written(killed: bool) -> None:
    """A stick that is read-only, closed well or left by a kill: merged whole, and nothing lies beside it afterwards."""
    import tempfile

    folder = Path(tempfile.mkdtemp(prefix="meterlink-stick-"))
    own = Path(tempfile.mkdtemp(prefix="meterlink-own-"))
    try:
        with Library.open(one_set(folder / "b", "B")) as b:
            if killed:
                Set(b, "Late").add()
                for name in ("b", "b-wal"):
                    shutil.copy(folder / name, own / name)
        if killed:
            for name in ("b", "b-wal"):
                shutil.move(own / name, folder / name)
        for file in (*folder.iterdir(), folder):
            file.chmod(0o555 if file == folder else 0o444)
        own.chmod(0o777)
        before = sorted(p.name for p in folder.iterdir())
        done = subprocess.run(
            [sys.executable, "-c", AS_READER, str(ROOT), str(own / "a"), str(folder / "b")], capture_output=True, text=True
        )
        assert done.returncode == 0, done.stderr
        assert ("setups=2" if killed else "setups=1") in done.stdout
        assert sorted(p.name for p in folder.iterdir()) == before
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        shutil.rmtree(own, ignore_errors=True)


def test_merge_leaves_nothing_beside_its_source(tmp_path) -> None:
    """A library that nobody has open is read without a log or a lock file appearing, not even a lasting moment."""
    (tmp_path / "stick").mkdir()
    one_set(tmp_path / "stick" / "b", "B")
    with Library.open(one_set(tmp_path / "a", "A")) as a:
        merge(a, tmp_path / "stick" / "b")
        check(tmp_path / "stick" / "b")
    assert [p.name for p in (tmp_path / "stick").iterdir()] == ["b"]


def damaged_waveform(path: Path) -> str:
    """Make a library with three waveforms, the second of which is damaged; return that one's reading."""
    with Library.open(path) as library:
        one = Set(library, "Waves")
        readings = [one.add(exposure_lxs=n + 1.0, waveform=block(500)) for n in range(3)]
        with library.db.write() as connection:
            connection.execute("UPDATE waveform SET samples = x'0011' WHERE reading_id = ?", (bytes.fromhex(readings[1].id),))
    return readings[1].id


def test_one_damaged_waveform_stops_nothing(tmp_path) -> None:
    """Check names it; export and merge take the other two, every reading, and say which one was left out."""
    bad = damaged_waveform(tmp_path / "a")
    report = check(tmp_path / "a")
    assert not report.sound
    assert any(bad in str(f.said) for f in report.findings)
    said: list[str] = []
    with Library.open(tmp_path / "a") as a, Library.open(tmp_path / "b") as b:
        doc = document(a, tell=said.append)
        merge(b, tmp_path / "a", tell=said.append)
        assert (len(doc["readings"]), len(doc["waveforms"])) == (3, 2)
        assert b.db.row("SELECT count(*) FROM waveform") == (2,)
        assert len(b.all_readings(b.setup("Waves").id)) == 3
    assert len(said) == 2
    assert all(bad in str(one) for one in said)
    assert check(tmp_path / "b").sound


COPIER = """
import sys
sys.path.insert(0, sys.argv[1])
from pathlib import Path
from meterlink.library import Library
from meterlink.library.export import write_json, write_library
library = Library.open(sys.argv[2])
print("ready", flush=True)
while True:
    write_library(library, Path(sys.argv[3]), replace=True)
    write_json(library, Path(sys.argv[3] + ".json"))
"""


def test_killed_copies_and_exports_leave_nothing_half_written(tmp_path, tally: Tally) -> None:
    """30 kills while a library is copied over another and exported: the target is the old or the new one, no rest stays."""
    import random

    chance = random.Random(3)
    with Library.open(tmp_path / "a") as library, library.db.write():
        one = Set(library)
        for _ in range(400):
            library.add_reading(one.reading())
    expected = 400
    (tmp_path / "out").mkdir()
    for _ in range(30):
        target = tmp_path / "out" / "copy"
        command = [sys.executable, "-c", COPIER, str(ROOT), str(tmp_path / "a"), str(target)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
            assert process.stdout is not None
            assert process.stderr is not None
            process.stdout.readline()
            time.sleep(chance.uniform(0.0, 0.08))
            process.send_signal(signal.SIGKILL)
            tally.tracebacks += b"Traceback" in process.stderr.read()
        tally.count += 1
        if target.exists():
            assert check(target).sound
            tally.lost += expected - check(target).counts["reading"]
    with Library.open(tmp_path / "a") as library:
        write_library(library, tmp_path / "out" / "copy", replace=True)
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) in (["copy"], ["copy", "copy.json"])


def test_a_full_disk_says_what_happened(session, pop) -> None:
    """When the disk fills at any of the first 40 writes of a walk: a reading that was refused is not there, and its light waits."""
    from meterlink.metering.walk import Request

    library, walk = session.library, [Request(light.id) for light in session.lights()]
    refused = 0
    for _ in range(40):
        session.begin(walk)
        (pages,) = library.db.row("PRAGMA page_count")
        library.db.row(f"PRAGMA max_page_count={pages}")
        before, waiting = library.all_readings(session.setup.id), session.walk.waiting
        try:
            session.take(pop(12.0, wave=block(6000)))
        except StorageError as error:
            refused += 1
            assert "nothing was stored" in str(error)  # noqa: PT017
            assert library.all_readings(session.setup.id) == before
            assert session.walk.waiting == waiting
            assert library.recall(f"walk:{session.setup.id}")["position"] == session.walk.position
        else:
            assert len(library.all_readings(session.setup.id)) == len(before) + 1
            assert session.walk.waiting != waiting
        library.db.row("PRAGMA max_page_count=1000000")
        session.take(pop(12.0))
    assert refused > 3
