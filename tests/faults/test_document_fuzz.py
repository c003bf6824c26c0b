"""Documents that the schema allows, or nearly: taken or refused whole, and what is taken never brings a verb down."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from library_sets import Set
from tallies import Tally
from test_merge import content, one_set

from meterlink.errors import ImportRefused, LibraryError
from meterlink.library import Library
from meterlink.library.check import check
from meterlink.library.fields import LIMITS
from meterlink.library.merge import merge

COUNT = int(os.environ.get("METERLINK_FUZZ_DOCUMENTS", "150"))
"""Documents of each seed; METERLINK_FUZZ_DOCUMENTS=2600 for the long run."""
PROGRAM = Path(__file__).with_name("document_fuzz.py")


@pytest.mark.timeout(600)  # each verb has its own limit of 5 s
@pytest.mark.skipif(sys.platform != "linux", reason="time and memory are limited in Linux's way")
@pytest.mark.parametrize("seed", [1, 2])
def test_no_document_that_is_taken_brings_a_verb_down(tmp_path, seed: int, tally: Tally) -> None:
    """150 structural mutations a seed go on to ratios, checks, sheet, export and lists: no traceback, each in 5 s, 300 MB."""
    found = what_became_of(tally, tmp_path, str(seed), str(COUNT))
    assert found["taken"] > COUNT / 5


@pytest.mark.timeout(600)  # each verb has its own limit of 5 s
@pytest.mark.skipif(sys.platform != "linux", reason="time and memory are limited in Linux's way")
def test_no_number_at_the_edge_of_its_limits_brings_a_verb_down(tmp_path, tally: Tally) -> None:
    """Each of 50 numbers of a library on both edges of its limits and next to nothing: the sheet with ratios and checks is made."""
    assert what_became_of(tally, tmp_path, "edges")["taken"] > 2 * 45


def what_became_of(tally: Tally, folder: Path, *how: str) -> dict[str, Any]:
    """Run the program that asks the verbs; look at what it found."""
    words = [sys.executable, str(PROGRAM), str(folder), *how]
    environment = {**os.environ, "PYTHONPATH": str(PROGRAM.parents[2])}
    done = subprocess.run(words, capture_output=True, text=True, env=environment)
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    tally.count, tally.tracebacks = found["taken"] + found["refused"], len(found["tracebacks"])
    tally.worst_s, tally.worst_mb = found["worst_s"], found["worst_mb"]
    assert found["tracebacks"] == []
    assert found["worst_s"] < 5, found["worst"]
    assert found["worst_mb"] < 300
    return found


@pytest.mark.parametrize("table", [t for t in LIMITS if t != "pop"])
def test_numbers_beyond_belief_come_in_by_no_merge(tmp_path, table: str, tally: Tally) -> None:
    """Each number of each table just past its limits, in another library's file: refused, named, nothing taken."""
    with Library.open(tmp_path / "own") as own:
        before = content(own)
    for column, low, high in ((name, field.low, field.high) for name, field in LIMITS[table].items()):
        for value in (low - 1 - abs(low), high * 10 + 1):
            (tmp_path / "bad").unlink(missing_ok=True)
            other = sqlite3.connect(one_set(tmp_path / "bad", "B"))
            other.execute("PRAGMA ignore_check_constraints=ON")
            other.execute(f"UPDATE {table} SET {column} = ?", (value,))
            other.commit()
            other.close()
            with Library.open(tmp_path / "own") as own:
                with pytest.raises((ImportRefused, LibraryError), match=column):
                    merge(own, tmp_path / "bad")
                assert content(own) == before
            tally.count += 1
    assert not check(tmp_path / "bad").sound


def test_what_is_stored_can_be_exchanged(library) -> None:
    """The store itself refuses what no other library would take, and says the limits."""
    one = Set(library)
    for change in ({"height_m": 1e8}, {"distance_m": 0.0}, {"azimuth_deg": 1e6}):
        with pytest.raises(LibraryError, match="beyond"):
            one.place(one.key, **change)
    with pytest.raises(LibraryError, match="exposure_lxs is 1e\\+13, beyond 0 to 1e\\+12"):
        one.add(exposure_lxs=1e13)
