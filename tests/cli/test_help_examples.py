"""Every example of every help runs on a simulated set and gives an answer: whoever copies one is not left alone with it."""

from __future__ import annotations

import re
import shlex
import shutil
import sqlite3
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest
from PIL import Image

from meterlink.cli.main import VERBS, module_of
from meterlink.library.backup import Backups
from tests.simulated_time import run_main

EXAMPLE = re.compile(r"^  (meterlink .*?)(?:  .*)?$", re.MULTILINE)
ELSEWHERE = {
    "sync": "needs a PostgreSQL server: tests/library",
    "demo --pace": "takes as long as it took on set",
    "sensors": "its honest answer is that nothing is connected here: tests/link",
    "sensors --try": "needs a port: tests/dialects",
    "sensors --exclude": "needs a port: tests/link",
    "sensors --json": "needs a port: tests/link",
    "sensors --name": "needs a port: tests/dialects",
    "calibrate": "a walk by hand with a reference: tests/cli/test_calibrate.py",
    "sensor-test": "a walk by hand with a sensor on its port: tests/calibration",
    "verify": "a walk by hand: tests/calibration",
    "light add": "asks when nothing is said: tests/cli/test_describing_a_light.py",
    "match": "a rebuild by hand, its second round too: tests/cli/test_match_verb.py",
    "import --code": "its code is cut short; tests/cli/test_files.py reads a whole one",
}
"""Beginnings of examples that cannot run here, and where they run; ``light add`` alone is the whole example."""
SIMULATED = "sim:?every=0.7&colour=yes"


def examples() -> list[str]:
    """Every example that can run without hardware, a server or hands."""
    every = [line.strip() for verb in VERBS for line in EXAMPLE.findall(module_of(verb).__doc__ or "")]
    return [one for one in every if not any(_is(one, start) for start in ELSEWHERE)]


def _is(example: str, start: str) -> bool:
    words = example.removeprefix("meterlink ")
    return words == start if start == "light add" else words == start or words.startswith(f"{start} ")


@pytest.fixture(scope="module")
def metered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library as the examples speak of it: three sets, one in use with its lights metered, a falloff, a backup."""
    folder = tmp_path_factory.mktemp("examples")
    library = ["--library", str(folder / "library.sqlite")]

    def run(line: str) -> None:
        assert run_main([*library, *shlex.split(line)]) == 0, line

    run('setup new "Low key, two strips" --iso 100 --shutter 1/160')
    run("light add KEY 'round softbox 90' 1.2m 40 30 1/4 --disk 90cm --fixture 'head A' --power-step 1/10 --power-min 1/256")
    run("light add HAIR 'strip' 30x120cm 1.1m 160 45 1/8 --fixture 'head B' --power-step 1/10 --power-min 1/256")
    run("light add BACKGROUND 'bowl' 1.5m 170 10 1/8 --fixture 'head C' --power-step 1/10 --power-min 1/256")
    run("light add LAMP --role other --distance 2m --azimuth -90 --power 1/4")
    run("light add FILL 'octa 120' 1.4m -50 0 1/4 --disk 120cm --fixture 'head D' --power-step 1/10 --power-min 1/256")
    run(f"meter --all --sensor '{SIMULATED}'")
    run("light move FILL 1/8")
    run(f"meter FILL --sensor '{SIMULATED}'")
    run("light move FILL 1/4")
    run(f"falloff KEY --at 0.8m 1.2m 1.8m --sensor '{SIMULATED}'")
    run(f"meter --all --sensor '{SIMULATED}'")
    run('setup copy "Low key, two strips" "Low key"')
    run(f"meter --all --sensor '{SIMULATED}'")
    run("export -o " + shlex.quote(str(folder / "lowkey.json")))
    run('setup copy "Low key" "Low key, tall"')
    run("light move KEY 1.4m")
    run(f"meter --all --sensor '{SIMULATED}'")
    run('setup use "Low key"')
    shutil.copy(folder / "library.sqlite", folder / "other.sqlite")
    return folder


@pytest.mark.parametrize("example", examples())
def test_the_example_runs_and_answers(
    example: str, metered: Path, ml: Callable[..., object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit code 0, something to read, nothing that only a programmer would understand."""
    written = shlex.split(example)[1:3] == ["export", "-o"]  # where its file stands already nothing is written
    for file in ("library.sqlite", "other.sqlite", "lowkey.json")[: 2 if written else 3]:
        shutil.copy(metered / file, tmp_path / file)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("METERLINK_SENSOR", SIMULATED)
    Image.new("RGB", (40, 30)).save(tmp_path / "best.jpg")
    _prepare(example, ml, tmp_path)

    words = [_here(word, tmp_path) for word in shlex.split(example)[1:]]
    if words[0] == "watch" and "--pops" not in words:
        words += ["--pops", "1"]  # it would go on until somebody stops it
    ran = ml(*words)

    assert ran.code == 0, ran.err
    assert ran.out.strip() or ran.err.strip()
    assert "Traceback" not in ran.out + ran.err


def _prepare(example: str, ml: Callable[..., object], folder: Path) -> None:
    """What stands in the way of an example, or before it, in a library that has all its names already."""
    words = example.removeprefix("meterlink ")
    if words.startswith("setup new"):
        ml("setup", "change", "Low key, two strips", "--rename", "Other")
    elif words.startswith("setup copy"):
        ml("setup", "change", "Low key, tall", "--rename", "Other")
    elif words.startswith("setup unarchive"):
        ml("setup", "archive", "Low key, tall")
    elif words.startswith("light add"):
        ml("light", "remove", words.split()[2])
    elif words == "meter" or words.startswith(("meter --pending", "meter --held-as-before")):
        ml("light", "move", "KEY", "1.1m")
    elif words.startswith("light remove"):
        ml("light", "add", words.split()[2], "0.7m", "--role", "fill", "--reflector-of", "KEY")
    elif words == "targets --set":
        ml("targets", "FILL=-1")
    elif words.startswith("kit unmark"):
        ml("kit", "mark", "head A")
    elif words == "store check --library old.sqlite":
        shutil.copy(folder / "library.sqlite", folder / "old.sqlite")
    elif words.startswith("store copy") and "--replace" not in words:
        (folder / "other.sqlite").unlink()
    elif words.startswith("store restore"):
        connection = sqlite3.connect(folder / "library.sqlite")
        Backups(folder / "library.sqlite").make(connection, "day")
        connection.close()


def _here(word: str, folder: Path) -> str:
    """Ports, sticks and codes of the examples, as they are in this test."""
    if word == "serial:/dev/ttyACM0":
        return SIMULATED
    if word.startswith("/media/stick/"):
        return str(folder / "other.sqlite")
    if word.endswith("Z-day"):
        return next(folder.glob("library.sqlite.backups/*")).stem
    if word.startswith("2026-03-0"):
        return str(date.today() + timedelta(days=int(word[9]))) + word[10:]
    return word
