"""kill -9 while readings are written: what was accepted is there, and the library opens."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
from pathlib import Path

from library_sets import Set
from tallies import Tally

from meterlink.library import Library

ROOT = Path(__file__).resolve().parents[2]
KILLS = 25
WRITER = """
import sys
sys.path[:0] = [sys.argv[2], sys.argv[2] + "/tests/library"]
from library_sets import block
from meterlink.library import Library
from meterlink.records import new_id
library = Library.open(sys.argv[1])
setup = library.setups()[0]
model = library.all_readings(setup.id)[0]
n = 0
while True:
    reading = model._replace(id=new_id(), exposure_lxs=float(n % 1000 + 1))
    library.add_reading(reading, block() if n % 5 == 0 else None)
    if n % 7 == 0:
        library.void_reading(reading.id, "killed soon")
    print(reading.id, flush=True)
    n += 1
"""


def test_kill_at_any_moment_loses_no_accepted_reading(path, tally: Tally) -> None:
    """After each of many kills at random moments every reading that was reported as accepted is in a sound library."""
    chance = random.Random(20)
    with Library.open(path) as library:
        one = Set(library)
        accepted = {one.add().id}
    for _ in range(KILLS):
        accepted |= killed_writer(path, chance)
        with Library.open(path) as library:
            tally.count += 1
            tally.lost += len(accepted - {r.id for r in library.all_readings(one.setup.id)})
            assert tally.lost == 0
            assert library.db.row("PRAGMA quick_check") == ("ok",)
    with Library.open(path) as library:
        assert library.db.row("PRAGMA integrity_check") == ("ok",)
        assert library.db.rows("PRAGMA foreign_key_check") == []
        assert len(library.all_readings(one.setup.id)) <= len(accepted) + KILLS


def killed_writer(path: Path, chance: random.Random) -> set[str]:
    """Start a writer, kill it at a random moment, and return the ids that it said were accepted."""
    command = [sys.executable, "-c", WRITER, str(path), str(ROOT)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        lines = [writer.stdout.readline() for _ in range(chance.randint(1, 60))]
        for _ in range(chance.randint(0, 20_000)):
            pass  # a random moment inside the next write
        writer.send_signal(signal.SIGKILL)
        lines += writer.stdout.read().splitlines()
    return {line.strip() for line in lines if len(line.strip()) == 32}
