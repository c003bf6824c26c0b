"""The app is killed by the system without a warning, in the middle of a set."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from tallies import Tally

pytest.importorskip("kivy", reason="kivy is not installed (pip install '.[app]')")

from tests.mobile.driving import Driver, drive

ROOT = Path(__file__).parent.parent.parent

VICTIM = """
import sys, asyncio
from pathlib import Path
from tests.mobile.driving import drive

async def scenario(d):
    await d.connected()
    await d.tap("count:4")
    await d.pop()
    await d.pop()
    print("metered", d.text("headline"), flush=True)
    await asyncio.sleep(60)

drive(Path(sys.argv[1]), scenario, url="sim:?every=0")
"""


def test_kill_9_in_mid_set_loses_nothing_that_was_shown(tmp_path: Path, tally: Tally) -> None:
    """Killed after two of four pops, the next start has both readings and waits for the third light."""
    path = tmp_path / "library.db"
    with subprocess.Popen(
        [sys.executable, "-c", VICTIM, str(path)], cwd=ROOT, stdout=subprocess.PIPE, text=True
    ) as app:
        assert app.stdout is not None
        told = app.stdout.readline()
        app.kill()

    async def after(d: Driver) -> tuple[str, str, list[bool]]:
        await d.connected()
        shot = d.app.desk.shot
        return d.app.place, d.text("headline"), [s.reading is not None for s in shot.view.lights]

    tally.count = 1
    assert told == "metered HAIR\n"
    assert drive(path, after) == ("metering", "HAIR", [True, True, False, False])
