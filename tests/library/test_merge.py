"""Union of libraries: idempotent, in any order, all or nothing."""

from __future__ import annotations

import itertools
import shutil
import sqlite3
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from library_sets import Set, block
from test_migrations import old_library

from meterlink.errors import ImportRefused, LibraryDamaged, LibraryTooNew, NotInLibrary, UsageError
from meterlink.library import Library
from meterlink.library.merge import TABLES, Added, merge, preview
from meterlink.library.schema import number_of
from meterlink.records import Setup, new_id


def content(library: Library) -> dict[str, set]:
    """Return every row of every united table with ids in place of this file's own numbers."""
    found = {}
    ids = {
        t: dict(library.db.rows(f"SELECT no, {'sensor_id' if t == 'sensor' else 'id'} FROM {t}"))
        for t in ("sensor", "setup", "light", "placement", "calibration")
    }
    for table in TABLES:
        columns = [r[1] for r in library.db.rows(f"PRAGMA table_info({table})") if r[1] != "no"]
        rows = library.db.rows(f"SELECT {', '.join(columns)} FROM {table}")
        numbers = [ids.get(number_of(c)) for c in columns]
        found[table] = {tuple(n.get(v) if n is not None else v for n, v in zip(numbers, row, strict=True)) for row in rows}
    return found


def one_set(path: Path, name: str) -> Path:
    """Make a library of one set with everything that a library can hold."""
    with Library.open(path) as library:
        one = Set(library, name)
        board = one.light("Board", "fill", 3)
        library.revise_light(board._replace(source_light_id=one.key.id))
        first = one.add(waveform=block(300))
        one.add(supersedes_id=first.id, lit=(one.key.id,), pops=(first.pops[0], first.pops[0]))
        library.void_reading(one.add(one.fill).id, "stray")
        library.add_note("memo", "big softbox", {"shift_m": 0.1})
    return path


def test_merge_takes_everything(tmp_path) -> None:
    """Two libraries with nothing in common become one with all of both."""
    with Library.open(one_set(tmp_path / "a", "A")) as a, Library.open(one_set(tmp_path / "b", "B")) as b:
        both = {t: rows | content(b)[t] for t, rows in content(a).items()}
        added = merge(a, tmp_path / "b")

        assert added == Added(1, 1, 3, 4, 2, 1, 3, 1, 1, 1)
        assert content(a) == both
        assert [r.id for r in a.readings(a.setup("B").id)] == [r.id for r in b.readings(b.setup("B").id)]
        assert a.light(a.setup("B").id, "Board").source_light_id == b.light(b.setup("B").id, "Key").id


def test_merging_again_adds_nothing(tmp_path) -> None:
    """Idempotent: the second time there is nothing new."""
    one_set(tmp_path / "b", "B")
    with Library.open(one_set(tmp_path / "a", "A")) as a:
        merge(a, tmp_path / "b")
        before = content(a)
        assert merge(a, tmp_path / "b") == Added()
        assert content(a) == before


def test_preview_counts_and_adds_nothing(tmp_path) -> None:
    """What a merge would add is known beforehand without a trace."""
    one_set(tmp_path / "b", "B")
    with Library.open(one_set(tmp_path / "a", "A")) as a:
        before = content(a)
        foreseen = preview(a, tmp_path / "b")
        assert content(a) == before
        assert merge(a, tmp_path / "b") == foreseen


def test_the_other_file_is_not_written_to(tmp_path) -> None:
    """Merging reads the other library and leaves every byte, also when it is of an older schema."""
    old = old_library(tmp_path / "old.sqlite", 1)
    before = old.read_bytes()
    with Library.open(tmp_path / "a") as a:
        added = merge(a, old)
        assert (added.setups, added.readings) == (1, 4)
        assert [r.exposure_lxs for r in a.readings(a.setup("Old set").id)] == [13.0, 6.0]
    assert old.read_bytes() == before


def test_local_choices_stay(tmp_path) -> None:
    """The set-up in use and the settings of a library are its own."""
    one_set(tmp_path / "b", "B")
    with Library.open(tmp_path / "b") as b:
        b.set_setting("min_gap_s", 3.0)
        b.use_setup(b.setup("B").id)
    with Library.open(one_set(tmp_path / "a", "A")) as a:
        a.use_setup(a.setup("A").id)
        merge(a, tmp_path / "b")
        assert a.current_setup().name == "A"
        assert a.settings().min_gap_s == 0.7


def test_a_name_in_both_is_asked_about_not_guessed(tmp_path) -> None:
    """Two set-ups of one name can meet in a merge: the name then asks for the id, the id works."""
    one_set(tmp_path / "b", "Same")
    with Library.open(one_set(tmp_path / "a", "Same")) as a:
        merge(a, tmp_path / "b")
        with pytest.raises(UsageError, match="give the id"):
            a.setup("same")
        assert {a.setup(s.id).name for s in a.setups()} == {"Same"}


def test_the_latest_version_wins_whichever_way_they_meet(tmp_path) -> None:
    """A set-up renamed in two copies of one library has the later name in both after merging both ways."""
    one_set(tmp_path / "a", "A")
    shutil.copy(tmp_path / "a", tmp_path / "b")
    with Library.open(tmp_path / "a") as a, Library.open(tmp_path / "b") as b:
        setup = a.setup("A")
        a.revise_setup(setup._replace(name="Earlier"))
        b.revise_setup(setup._replace(name="Later"))
        merge(a, tmp_path / "b")
        merge(b, tmp_path / "a")
        assert a.setup(setup.id).name == b.setup(setup.id).name == "Later"
        assert content(a) == content(b)


@pytest.mark.parametrize(
    ("sql", "what"),
    [
        ("UPDATE reading SET exposure_lxs = 99", "another reading under an id"),
        ("UPDATE setup_version SET name = 'X', name_key = 'x'", "another setup version"),
        ("UPDATE placement SET distance_m = 9.5", "another placement"),
        ("UPDATE pop SET exposure_lxs = 9.5", "another pop"),
        ("UPDATE calibration_range SET dark_raw = 0.5", "another calibration range"),
        ("UPDATE waveform SET samples = x'00'", "another waveform"),
    ],
)
def test_another_content_under_a_known_id_is_refused(tmp_path, sql: str, what: str) -> None:
    """Records never change: a file that says otherwise was changed by hand, and nothing of it is taken."""
    one_set(tmp_path / "a", "A")
    shutil.copy(tmp_path / "a", tmp_path / "b")
    other = sqlite3.connect(tmp_path / "b")
    other.execute(sql)
    other.commit()
    other.close()
    with Library.open(tmp_path / "b") as b:
        Set(b, "New in b")
    with Library.open(tmp_path / "a") as a:
        before = content(a)
        with pytest.raises(ImportRefused, match=what):
            merge(a, tmp_path / "b")
        assert content(a) == before


HOSTILE = {
    "view": "ALTER TABLE note RENAME TO n; CREATE VIEW note AS SELECT * FROM n",
    "trigger": "CREATE TRIGGER t AFTER INSERT ON note BEGIN DELETE FROM reading; END",
    "missing table": "DROP TABLE mark",
    "other columns": "ALTER TABLE note ADD COLUMN more TEXT",
    "dangling light": "UPDATE reading SET light_no = 4711",
    "dangling set": "UPDATE light SET setup_no = 4711",
    "damaged json": "UPDATE placement SET details = '{'",
    "json of a wrong kind": "UPDATE note SET payload = '[1]'",
    "text that is none": "UPDATE reading SET note = CAST(x'ff41' AS TEXT)",
    "long text": "UPDATE setup_version SET notes = printf('%.*c', 200000, 'x')",
    "long name": "UPDATE setup_version SET name = printf('%.*c', 300, 'x'), name_key = printf('%.*c', 300, 'x')",
    "key of another name": "UPDATE setup_version SET name_key = 'other'",
    "pops missing": "UPDATE reading SET pop_count = 5",
    "impossible code": "UPDATE reading SET kind = 7",
    "number that is text": "UPDATE reading SET exposure_lxs = 'much'",
    "infinite": "UPDATE reading SET exposure_lxs = 9e999",
    "far future": "UPDATE setup SET id = x'ffffffffffffffffffffffffffffffff'",
    "placement of another light": "UPDATE reading SET placement_no = (SELECT max(no) FROM placement)",
    "supersedes what is not there": "UPDATE reading SET supersedes_id = x'000102030405060708090a0b0c0d0e0f'",
    "light without version": "DELETE FROM light_version",
    "its own source": "UPDATE light_version SET source_light_no = light_no",
}


@pytest.mark.parametrize("sql", HOSTILE.values(), ids=HOSTILE.keys())
def test_hostile_library_is_refused_in_one_line_and_nothing_is_taken(tmp_path, sql: str) -> None:
    """Files made to harm: no view, trigger, dangling number, damaged text or impossible value gets in."""
    one_set(tmp_path / "b", "B")
    other = sqlite3.connect(tmp_path / "b")
    other.execute("PRAGMA ignore_check_constraints=ON")
    other.executescript(sql)
    other.close()
    with Library.open(one_set(tmp_path / "a", "A")) as a:
        before = content(a)
        with pytest.raises(ImportRefused) as caught:
            merge(a, tmp_path / "b")
        assert "\n" not in str(caught.value)
        assert content(a) == before
        merge(a, one_set(tmp_path / "c", "C"))


def test_wrong_files_are_told_apart(tmp_path) -> None:
    """Missing, foreign, newer and one's own file each get their own line."""
    with Library.open(one_set(tmp_path / "a", "A")) as a:
        with pytest.raises(NotInLibrary):
            merge(a, tmp_path / "none")
        (tmp_path / "text").write_text("hello " * 1000)
        with pytest.raises(LibraryDamaged):
            merge(a, tmp_path / "text")
        with pytest.raises(UsageError, match="the library itself"):
            merge(a, tmp_path / "a")
        one_set(tmp_path / "b", "B")
        other = sqlite3.connect(tmp_path / "b")
        other.execute("PRAGMA user_version=99")
        other.close()
        with pytest.raises(LibraryTooNew):
            merge(a, tmp_path / "b")


steps = st.lists(
    st.tuples(st.sampled_from(["reading", "retake", "void", "rename", "move", "light", "setup", "note"]), st.integers(0, 9)),
    max_size=12,
)


def play(library: Library, moves: list[tuple[str, int]]) -> None:
    """Do some metering in a library: whatever the moves say, on the first set."""
    setup = min(library.setups(), key=lambda s: s.id)
    one = Set.__new__(Set)
    one.library, one.setup = library, setup
    one.key = library.lights(setup.id)[0]
    one.calibration = library.calibrations()[0]
    for move, n in moves:
        one.stands = library.current_placements(setup.id)
        readings = library.readings(setup.id)
        if move == "reading" or (move in ("retake", "void") and not readings):
            one.add(exposure_lxs=n + 1.0)
        elif move == "retake":
            one.add(exposure_lxs=n + 0.5, supersedes_id=readings[n % len(readings)].id)
        elif move == "void":
            library.void_reading(readings[n % len(readings)].id, str(n))
        elif move == "rename":
            library.revise_setup(library.setup(setup.id)._replace(name=new_id()))
        elif move == "move":
            one.place(one.key, distance_m=1.0 + n)
        elif move == "light":
            one.light(new_id(), "other", n)
        elif move == "setup":
            library.add_setup(Setup(new_id(), new_id(), 1.0))
        else:
            library.add_note("memo", str(n), {"n": n})


@settings(max_examples=25)
@given(st.lists(steps, min_size=2, max_size=3))
def test_union_in_any_order_and_any_number_of_times_is_the_same(tmp_path_factory, histories) -> None:
    """Copies of one library that went their own ways end up equal, whatever the order and repetition of merges."""
    folder = tmp_path_factory.mktemp("m")
    with Library.open(folder / "base") as base:
        Set(base, "Shared").add()
    for n, moves in enumerate(histories):
        shutil.copy(folder / "base", folder / f"{n}")
        with Library.open(folder / f"{n}") as library:
            play(library, moves)
    results = []
    for n, order in enumerate(itertools.permutations(range(len(histories)))):
        shutil.copy(folder / "base", folder / f"order{n}")
        with Library.open(folder / f"order{n}") as library:
            for other in (*order, order[0]):
                merge(library, folder / f"{other}")
            setup = min(library.setups(include_archived=True), key=lambda s: s.id)
            results.append((content(library), library.setup(setup.id), library.readings(setup.id),
                            library.current_placements(setup.id)))  # fmt: skip
    assert all(r == results[0] for r in results)
