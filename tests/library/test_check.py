"""Checking: sound files are sound, damage of every kind is found and named."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from library_sets import Set, block
from test_merge import one_set
from test_migrations import old_library

from meterlink.errors import UsageError
from meterlink.library import Library
from meterlink.library.check import check
from meterlink.library.merge import merge

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
        library.add_note("memo", "big softbox", {"shift_m": 0.1})
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
    assert "schema 1" in str(report.findings[0].said)


def test_names_that_met_in_a_merge_are_noticed(tmp_path) -> None:
    """Two set-ups of one name are worth a notice, no damage."""
    one_set(tmp_path / "b", "Same")
    with Library.open(one_set(tmp_path / "a", "Same")) as a:
        merge(a, tmp_path / "b")
        with pytest.raises(UsageError, match=r"rename one: meterlink setup change [0-9a-f]+ --rename NAME") as refused:
            a.setup("same")
        assert a.setup(str(refused.value).split()[-3]).name == "Same"
    report = check(tmp_path / "a")

    assert report.sound
    assert "2 set-ups are named 'Same'" in str(report.findings[0].said)


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
    assert any(what in str(f.said) for f in report.findings)
    assert all(f.advice for f in report.findings)
    assert all("\n" not in str(f.said) for f in report.findings)
