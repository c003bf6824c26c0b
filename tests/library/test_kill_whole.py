"""kill -9 at random points of import, merge, sync and migration: nothing lost, nothing half-done, and it goes on afterwards."""

from __future__ import annotations

import json
import os
import random
import select
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from library_sets import Set
from postgres import cluster, missing
from tallies import Tally
from test_merge import content, one_set
from test_migrations import old_library

from meterlink.library import Library, sync
from meterlink.library.backup import Backups
from meterlink.library.check import check
from meterlink.library.export import document, to_json, write_json
from meterlink.library.importing import import_file
from meterlink.library.merge import merge
from meterlink.library.migrations import SCHEMA_VERSION

ROOT = Path(__file__).resolve().parents[2]
KILLS = 50
"""Of each kind: 200 in all."""
PARENT = """
import os, sys
sys.path[:0] = [{root!r}, {root!r} + "/tests/library"]
from pathlib import Path
from meterlink.library import Library, backup, migrations, schema, sync
from meterlink.library.importing import import_file
from meterlink.library.merge import merge
try:
    import psycopg
except ImportError:
    pass
sync.ROWS_AT_ONCE = 40
for act in sys.stdin:
    if pid := os.fork():
        print(pid, flush=True)
        print(os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), flush=True)
    else:
        exec(act)
        os._exit(0)
"""
"""A process with everything loaded; its children do an act each and are killed in it.  It says the child's id and how it ended."""


class Acts:
    """Acts in processes of their own."""

    def __init__(self, parent: subprocess.Popen[str]) -> None:
        self.parent = parent

    def begin(self, act: str) -> int:
        """Begin an act; return its process."""
        assert self.parent.stdin is not None
        self.parent.stdin.write(f"{act}\n")
        self.parent.stdin.flush()
        return self._said()

    def _said(self) -> int:
        assert self.parent.stdout is not None
        return int(self.parent.stdout.readline())

    def killed(self, act: str, chance: random.Random, longest_s: float) -> None:
        """Kill an act at a random moment after its start."""
        process = self.begin(act)
        time.sleep(chance.uniform(0, longest_s))
        for _ in range(10):
            with suppress(ProcessLookupError):
                os.kill(process, signal.SIGKILL)
            if select.select([self.parent.stdout], [], [], 3.0)[0]:
                break
        assert self._said() in (0, -signal.SIGKILL)

    def timed(self, act: str) -> float:
        """Return how long an act takes when nobody kills it."""
        self.begin(act)
        start = time.perf_counter()
        assert self._said() == 0
        return time.perf_counter() - start


@pytest.fixture(scope="module")
def acts(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Acts]:
    """The process whose children are killed; what they leave in the temporary folder goes with the tests' own."""
    command = [sys.executable, "-c", PARENT.format(root=str(ROOT))]
    own = {**os.environ, "TMPDIR": str(tmp_path_factory.mktemp("acts"))}
    with subprocess.Popen(command, env=own, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as parent:
        try:
            yield Acts(parent)
        finally:
            parent.kill()


def clear(folder: Path, name: str) -> None:
    """Remove a library, its journals and its backups."""
    for leftover in folder.glob(f"{name}*"):
        shutil.rmtree(leftover) if leftover.is_dir() else leftover.unlink()


@pytest.fixture
def many(tmp_path) -> Path:
    """A library with some hundred readings, closed."""
    with Library.open(one_set(tmp_path / "many", "Many")) as library:
        for n in range(3):
            one = Set(library, f"Set {n}")
            for _ in range(100):
                one.add()
    return tmp_path / "many"


@pytest.mark.timeout(600)
@pytest.mark.parametrize("way", ["import", "merge"])
def test_killed_import_or_merge_is_whole_or_not_there(tmp_path, many: Path, way: str, acts: Acts, tally: Tally) -> None:
    """After each kill the library is exactly as before or has everything; at the end everything is in."""
    source = many
    if way == "import":
        source = tmp_path / "many.json"
        with Library.open(many) as library:
            write_json(library, source)
    act = {"import": "import_file", "merge": "merge"}[way]
    with Library.open(one_set(tmp_path / "own", "Own")) as library:
        before = content(library)
    shutil.copy(tmp_path / "own", tmp_path / "whole")
    with Library.open(tmp_path / "whole") as library:
        (import_file if way == "import" else merge)(library, source)
        after = content(library)
    chance, outcomes = random.Random(7), []
    call = f"{act}(Library.open({str(tmp_path / 'target')!r}), Path({str(source)!r}))"
    shutil.copy(tmp_path / "own", tmp_path / "target")
    longest_s = acts.timed(call)
    for _ in range(KILLS):
        clear(tmp_path, "target")
        shutil.copy(tmp_path / "own", tmp_path / "target")
        acts.killed(call, chance, longest_s * 1.1)
        with Library.open(tmp_path / "target") as library:
            now = content(library)
            tally.count += 1
            tally.lost += now not in (before, after)
            assert tally.lost == 0
            outcomes.append(now == after)
        assert check(tmp_path / "target").sound
    assert not all(outcomes)  # some kills came before the end
    with Library.open(tmp_path / "target") as library:
        (import_file if way == "import" else merge)(library, source)
        assert content(library) == after


@pytest.mark.timeout(600)
def test_killed_migration_is_an_old_or_a_new_library(tmp_path, acts: Acts, tally: Tally) -> None:
    """After each kill the next opening finds every record, the schema of today, and a whole copy of the old file or none."""
    chance = random.Random(8)
    path = tmp_path / "old.sqlite"
    call = f"Library.open({str(path)!r}).close()"
    old_library(path, 1)
    with Library.open(path) as library:
        after = content(library)
    clear(tmp_path, "old.sqlite")
    old_library(path, 1)
    longest_s = acts.timed(call)
    for _ in range(KILLS):
        clear(tmp_path, "old.sqlite")
        old_library(path, 1)
        acts.killed(call, chance, longest_s * 1.1)
        copies = Backups(path).all()
        if copies:
            found = sqlite3.connect(copies[0].path)
            assert found.execute("SELECT count(*) FROM reading").fetchone() == (4,)
            assert found.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            found.close()
        with Library.open(path) as library:
            assert library.db.version == SCHEMA_VERSION
            tally.count += 1
            tally.lost += content(library) != after
            assert tally.lost == 0
        assert check(path).sound
        assert not list(Backups(path).folder.glob(".*"))


@pytest.mark.timeout(600)
@pytest.mark.skipif(bool(missing()), reason=f"killing a sync not tested: {missing()}")
def test_killed_sync_goes_on_and_nothing_comes_twice(tmp_path, many: Path, acts: Acts, tally: Tally) -> None:
    """Kills while sending and while fetching: both libraries and the shared one end with every record once."""
    import psycopg

    chance = random.Random(9)
    with cluster() as server:
        trial, url = tmp_path / "trial", f"{server}/postgres"
        shutil.copy(many, trial)
        longest_s = acts.timed(f"sync.sync(Library.open({str(trial)!r}), {url!r})")
        for n in range(KILLS // 10):
            url = f"{server}/studio{n}"
            with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
                connection.execute(f"CREATE DATABASE studio{n}")
            paths = [tmp_path / f"a{n}", tmp_path / f"b{n}"]
            shutil.copy(many, paths[0])
            one_set(paths[1], "B")
            for turn in range(10):
                path = paths[turn % 2]
                acts.killed(f"sync.sync(Library.open({str(path)!r}), {url!r})", chance, longest_s)
                tally.count += 1
                assert check(path).sound
            with Library.open(paths[0]) as a, Library.open(paths[1]) as b:
                for library in (a, b, a):
                    sync.sync(library, url)
                assert content(a) == content(b)
                count = len(content(a)["reading"])
                with psycopg.connect(url) as connection:
                    shared = connection.execute("SELECT count(*), count(DISTINCT id) FROM meterlink.reading").fetchone()
                tally.doubled += shared[0] - shared[1]
                assert shared == (count, count)


def test_documents_and_files_say_the_same(many: Path, tmp_path) -> None:
    """Both ways into a library, by JSON and by file, give the same records: the kills above are of two real ways."""
    with Library.open(many) as library, Library.open(tmp_path / "x") as x, Library.open(tmp_path / "y") as y:
        merge(x, many)
        (tmp_path / "doc.json").write_text(to_json(document(library)))
        import_file(y, tmp_path / "doc.json")
        first, second = content(x), content(y)
        first.pop("waveform"), second.pop("waveform")
        assert first == second
        assert json.loads((tmp_path / "doc.json").read_text())["version"] == 1
