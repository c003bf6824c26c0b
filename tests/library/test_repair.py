"""Checking and saving: sound files are sound, damage is found, what can be read is saved."""

from __future__ import annotations

import random
import shutil
import sqlite3
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from library_sets import Set, block
from test_merge import content, one_set
from test_migrations import old_library

from meterlink.errors import LibraryDamaged, MeterlinkError, NotInLibrary, StorageError, UsageError
from meterlink.library import Library
from meterlink.library.merge import merge
from meterlink.library.pages import Pages
from meterlink.library.repair import check, recover

PAGE = 4096


@pytest.fixture(scope="module")
def big(tmp_path_factory) -> Path:
    """A library of several sets whose tables span many pages, waveforms included; closed, in one file."""
    path = tmp_path_factory.mktemp("big") / "library.sqlite"
    with Library.open(path) as library, library.db.write():
        for n in range(8):
            one = Set(library, f"Set {n}")
            for k in range(60):
                reading = one.reading(exposure_lxs=k + 0.5)
                library.add_reading(reading, block(9000) if k % 20 == 0 else None)
            library.void_reading(reading.id, "stray")
        library.add_note("falloff", "big softbox", {"shift_m": 0.1})
        library.set_setting("min_gap_s", 1.5)
    return path


def test_sound_library_is_called_sound(big) -> None:
    """Nothing is found in a library that is in order, and it says what is in it."""
    report = check(big)

    assert report.sound
    assert report.findings == []
    assert report.counts["reading"] == 480
    assert report.counts["waveform"] == 24


def test_check_writes_nothing(big) -> None:
    """Looking leaves the file as it is."""
    before = big.read_bytes()
    check(big)
    assert big.read_bytes() == before


def test_older_schema_is_a_notice_not_damage(tmp_path) -> None:
    """An old library is sound; the check says that the next opening updates it."""
    report = check(old_library(tmp_path / "old", 1))

    assert report.sound
    assert "schema 1" in report.findings[0].text


def test_names_that_met_in_a_merge_are_noticed(tmp_path) -> None:
    """Two set-ups of one name are worth a notice, no damage."""
    one_set(tmp_path / "b", "Same")
    with Library.open(one_set(tmp_path / "a", "Same")) as a:
        merge(a, tmp_path / "b")
    report = check(tmp_path / "a")

    assert report.sound
    assert "2 set-ups are named 'Same'" in report.findings[0].text


@pytest.mark.parametrize(
    ("sql", "what"),
    [
        ("DELETE FROM light", "light_version without its light"),
        ("UPDATE reading SET kind = 9", "CHECK"),
        ("UPDATE note SET payload = '{'", "damaged payload"),
        ("DELETE FROM migration WHERE number = 1", "its record says"),
        ("UPDATE reading SET pop_count = 3", "lacks its pops"),
        ("UPDATE setup_version SET name_key = 'z'", "name that cannot be"),
    ],
)
def test_every_kind_of_trouble_is_found(tmp_path, sql: str, what: str) -> None:
    """Orphans, impossible values, damaged details and wrong versions each get their line with what to do."""
    path = one_set(tmp_path / "a", "A")
    other = sqlite3.connect(path)
    other.execute("PRAGMA ignore_check_constraints=ON")
    other.execute(sql)
    other.commit()
    other.close()
    report = check(path)

    assert not report.sound
    assert any(what in f.text for f in report.findings)
    assert all(f.advice for f in report.findings)
    assert all("\n" not in f.text for f in report.findings)


def test_recovery_of_a_sound_library_loses_nothing(big, tmp_path) -> None:
    """Every record, waveform and setting comes through when there is nothing wrong."""
    saved = recover(big, tmp_path / "saved")

    assert saved.losses == []
    with Library.open(tmp_path / "saved") as new, Library.open(big) as old:
        assert content(new) == content(old)
        assert new.settings() == old.settings()
    assert check(tmp_path / "saved").sound


def test_recovery_reads_the_log_that_a_kill_left_behind(tmp_path) -> None:
    """What is only in the write-ahead log is saved too; what was never committed is not."""
    with Library.open(tmp_path / "a") as library:
        one = Set(library)
        kept = [one.add() for _ in range(50)]
        library.db.connection.execute("BEGIN")
        one.library.db.connection.execute("UPDATE memory SET value = 'x'")
        for name in ("a", "a-wal"):
            shutil.copy(tmp_path / name, tmp_path / name.replace("a", "b", 1))
        library.db.connection.execute("ROLLBACK")
    recover(tmp_path / "b", tmp_path / "saved")
    with Library.open(tmp_path / "saved") as new:
        assert new.readings(one.setup.id) == kept


def rows_of(page: bytes) -> int:
    """Count the cells of a page as the file format says."""
    return int.from_bytes(page[3:5], "big")


def test_one_lost_page_costs_no_more_than_its_rows(big, tmp_path) -> None:
    """Whichever page is overwritten, a sound library with all rows of the other pages is saved."""
    original = big.read_bytes()
    with Library.open(big) as old:
        every = {r.id: r for s in old.setups() for r in old.all_readings(s.id)}
    for number in random.Random(4).sample(range(1, len(original) // PAGE + 1), 30):
        damaged = bytearray(original)
        page = original[(number - 1) * PAGE : number * PAGE]
        damaged[(number - 1) * PAGE : number * PAGE] = random.Random(number).randbytes(PAGE)
        (tmp_path / "bad").write_bytes(damaged)
        recover(tmp_path / "bad", tmp_path / f"saved{number}")
        assert check(tmp_path / f"saved{number}").sound, number
        with Library.open(tmp_path / f"saved{number}") as new:
            found = {r.id: r for s in new.setups() for r in new.all_readings(s.id)}
        lost = every.keys() - found.keys()
        assert len(lost) <= (rows_of(page) if page[0] in (2, 10) else 0), number
        same = sum(found[i].exposure_lxs == every[i].exposure_lxs for i in found)
        assert same == len(found)


@pytest.mark.parametrize("kept", [0.8, 0.95])
def test_a_file_cut_short_gives_what_is_left(big, tmp_path, kept: float) -> None:
    """The beginning of a file is enough for the rows in it."""
    data = big.read_bytes()
    (tmp_path / "bad").write_bytes(data[: int(len(data) * kept)])
    assert not check(tmp_path / "bad").sound
    saved = recover(tmp_path / "bad", tmp_path / "saved")

    assert saved.counts["reading"] > 50
    assert check(tmp_path / "saved").sound


def test_a_lost_header_is_not_the_end(big, tmp_path) -> None:
    """Without its first page the file is no database any more; its rows are still saved."""
    (tmp_path / "bad").write_bytes(bytes(PAGE) + big.read_bytes()[PAGE:])
    assert not check(tmp_path / "bad").sound
    with pytest.raises(LibraryDamaged):
        Library.open(tmp_path / "bad")

    assert recover(tmp_path / "bad", tmp_path / "saved").counts["reading"] == 480


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 2**31), st.binary(min_size=1, max_size=64)), min_size=1, max_size=40))
def test_random_damage_never_ends_in_anything_but_a_sound_file_or_one_line(big, tmp_path_factory, hits) -> None:
    """Bytes changed anywhere: the check and the recovery answer, and what is saved is sound."""
    folder = tmp_path_factory.mktemp("d")
    data = bytearray(big.read_bytes())
    for at, change in hits:
        at %= len(data) - 64
        data[at : at + len(change)] = change
    (folder / "bad").write_bytes(data)
    try:
        check(folder / "bad")
        recover(folder / "bad", folder / "saved")
    except MeterlinkError as error:
        assert "\n" not in str(error)  # noqa: PT017
        assert not (folder / "saved").exists()
    else:
        assert check(folder / "saved").sound


def test_nothing_to_save_is_said(tmp_path) -> None:
    """A file of noise, an empty one, a missing one and an existing target are four plain lines; no file appears."""
    (tmp_path / "noise").write_bytes(random.Random(1).randbytes(50_000))
    (tmp_path / "empty").write_bytes(b"")
    for name in ("noise", "empty"):
        with pytest.raises(LibraryDamaged, match="nothing of a library"):
            recover(tmp_path / name, tmp_path / "saved")
    with pytest.raises(NotInLibrary):
        recover(tmp_path / "none", tmp_path / "saved")
    with pytest.raises(UsageError, match="exists"):
        recover(tmp_path / "noise", tmp_path / "empty")
    with pytest.raises(StorageError):
        recover(tmp_path / "noise", tmp_path / "no" / "saved")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["empty", "noise"]


def test_page_reader_agrees_with_sqlite(big) -> None:
    """Rows decoded from the pages are the rows that SQLite itself returns, overflow pages included."""
    connection = sqlite3.connect(big)
    expected = set(connection.execute("SELECT no, NULL, setup_no, reading_id, byte_count, samples FROM waveform"))
    connection.close()
    cells = [c for c in Pages(big).cells() if c.rowid is not None and len(c.values) == 16]

    assert {(c.rowid, c.values[0], c.values[1], c.values[2], c.values[14], c.values[15]) for c in cells} == expected
