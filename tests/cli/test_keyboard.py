"""What is typed while a walk waits: take back, skip, give to another light, stop; Ctrl-C loses nothing."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from meterlink.cli.driving import Keyboard, Screen
from meterlink.metering.session import Session
from meterlink.photometry.series import format_f_number
from meterlink.records import Measurement

Run = Callable[..., object]


class Walking:
    """A ``meterlink meter`` under way in a process of its own."""

    def __init__(self, library: Path, *arguments: str) -> None:
        environment = {**os.environ, "METERLINK_LIBRARY": str(library), "PYTHONUNBUFFERED": "1"}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "meterlink", "meter", *arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env=environment,
            # A shell's background jobs ignore Ctrl-C, and so would their children: a person's terminal does not.
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
        )
        self.lines: list[str] = []

    def until(self, words: str) -> str:
        """Read until a line holds ``words``; return it."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.append(line)
            if words in line:
                return line
        raise AssertionError(f"{words!r} was not said: {''.join(self.lines)}")

    def type(self, text: str) -> None:
        """Type a line."""
        assert self.process.stdin is not None
        self.process.stdin.write(text + "\n")
        self.process.stdin.flush()

    def end(self) -> int:
        """Wait for the end; return the exit code."""
        assert self.process.stdout is not None
        self.lines += list(self.process.stdout)
        return self.process.wait(20)


@pytest.fixture
def walk(small_set: Run, tmp_path: Path) -> Iterator[Callable[..., Walking]]:
    """Begin a walk on the small set; it is ended with the test."""
    begun: list[Walking] = []

    def begin(*arguments: str) -> Walking:
        begun.append(Walking(tmp_path / "library.sqlite", *arguments))
        return begun[-1]

    yield begin
    for one in begun:
        one.process.kill()
        one.process.wait()
        for stream in (one.process.stdin, one.process.stdout):
            if stream is not None:
                stream.close()


def rows(small_set: Run) -> dict[str, dict]:
    """The ratio table by light."""
    return {row["light"]: row for row in json.loads(small_set("ratios", "--json").out)}


def test_a_skipped_light_stays_without_a_reading(small_set: Run, walk: Callable[..., Walking]) -> None:
    """``s`` leaves out the light that is waited for; the next pop is the next light's."""
    w = walk("KEY", "FILL", "--sensor", "sim:?every=1.2&lights=FILL")
    w.until("waiting for KEY")
    w.type("s")
    w.until("waiting for FILL")

    assert w.end() == 0
    assert rows(small_set)["KEY"]["corrected_f"] is None
    assert rows(small_set)["FILL"]["corrected_f"] is not None


def test_taking_back_waits_for_the_light_again(small_set: Run, walk: Callable[..., Walking]) -> None:
    """``u`` takes the last reading back and its light is waited for again."""
    w = walk("KEY", "FILL", "--sensor", "sim:?every=1.2&lights=KEY")
    w.until("waiting for FILL")
    w.type("u")
    w.until("taken back: KEY")
    w.until("waiting for KEY")

    assert w.end() == 0
    assert all(row["corrected_f"] for row in rows(small_set).values())


def test_a_pop_of_the_wrong_head_is_given_to_its_light(small_set: Run, walk: Callable[..., Walking]) -> None:
    """``r FILL`` gives the last reading to FILL; KEY is waited for again."""
    w = walk("KEY", "FILL", "--sensor", "sim:?every=1.5&lights=KEY")
    w.until("waiting for FILL")
    w.type("r FILL")
    assert "KEY waits for its own pop" in w.until("given to FILL")
    w.until("waiting for KEY")

    assert w.end() == 0
    assert all(row["corrected_f"] for row in rows(small_set).values())


def test_stopping_keeps_what_was_accepted(small_set: Run, walk: Callable[..., Walking]) -> None:
    """``q`` ends the walk; the readings until then are in the table."""
    w = walk("KEY", "FILL", "--sensor", "sim:?every=1.5&lights=KEY")
    w.until("waiting for FILL")
    w.type("q")

    assert w.end() == 0
    assert rows(small_set)["KEY"]["corrected_f"] is not None
    assert rows(small_set)["FILL"]["corrected_f"] is None


def test_what_is_not_understood_is_said_and_nothing_happens(walk: Callable[..., Walking]) -> None:
    """An unknown command lists those that there are; the walk goes on."""
    w = walk("KEY", "--sensor", "sim:?every=3")
    w.until("waiting for KEY")
    w.type("what?")

    assert "take back" in w.until("type u")
    assert w.end() == 0


def test_ctrl_c_loses_nothing(small_set: Run, walk: Callable[..., Walking]) -> None:
    """Ctrl-C in the middle of a walk keeps the accepted readings and says so in one line."""
    w = walk("KEY", "FILL", "--sensor", "sim:?every=1.5&lights=KEY")
    w.until("waiting for FILL")
    w.process.send_signal(signal.SIGINT)

    assert w.end() == 130
    assert "everything that was accepted is in the library" in w.lines[-1]
    assert "Traceback" not in "".join(w.lines)
    assert rows(small_set)["KEY"]["corrected_f"] is not None


def test_kill_in_mid_walk_loses_no_accepted_reading(small_set: Run, walk: Callable[..., Walking]) -> None:
    """``kill -9`` right after a reading was said leaves it in a library that opens, and the walk can go on."""
    w = walk("KEY", "FILL", "--sensor", "sim:?every=1.5&lights=KEY")
    w.until("KEY f/")
    w.process.kill()
    w.process.wait()

    assert rows(small_set)["KEY"]["corrected_f"] is not None
    again = walk("--resume", "--sensor", "sim:?every=1.2&lights=FILL")
    assert "FILL" in again.until("waiting for")
    assert again.end() == 0


def test_a_distance_said_afterwards_gives_the_new_figure(small_set: Run, walk: Callable[..., Walking]) -> None:
    """``20cm`` while metering and ``held KEY 30cm`` both print the f-number that the table then has."""
    w = walk("KEY", "FILL", "--sensor", "sim:?every=1.5&lights=KEY")
    w.until("waiting for FILL")
    w.type("20cm")
    said = w.until("held off 20 cm")
    w.type("q")
    assert w.end() == 0

    assert f"KEY: held off 20 cm: {corrected(small_set, 'KEY')}, " in said
    again = small_set("held", "KEY", "30cm").out
    assert f"KEY: held off 30 cm: {corrected(small_set, 'KEY')}, " in again
    assert again.split(", ")[0].split(": ")[-1] != said.split(", ")[0].split(": ")[-1]


def corrected(small_set: Run, light: str) -> str:
    """The f-number of the table."""
    return format_f_number(rows(small_set)[light]["corrected_f"])


def test_a_pop_is_given_with_its_distance(small_set: Run, walk: Callable[..., Walking]) -> None:
    """``r FILL@5cm`` gives the last reading to FILL, held off so far, as ``reassign FILL@5cm`` does."""
    w = walk("KEY", "FILL", "--sensor", "sim:?every=1.5&lights=KEY")
    w.until("waiting for FILL")
    w.type("r FILL@5cm")
    w.until("given to FILL")
    assert "FILL: held off 5.0 cm: f/" in w.until("FILL: held off")
    w.type("q")

    assert w.end() == 0
    assert rows(small_set)["FILL"]["held_off_m"] == pytest.approx(0.05)


class Idle:
    """A driver whose sensor is not there: only what is typed counts."""

    def prepare_soon(self) -> None:
        """Nothing to prepare."""


def test_a_skip_is_meant_for_the_light_that_was_shown(
    session: Session, pop: Callable[..., Measurement], capsys: pytest.CaptureFixture[str]
) -> None:
    """KEY's pop came between the person's decision and the line: nothing is skipped, and that is said; later FILL is, by name."""
    session.begin([session.request(session.light(name)) for name in ("KEY", "FILL", "HAIR")])
    screen = Screen(session)
    keyboard = Keyboard(session, Idle(), screen, Typing())
    screen.wait_for(session.walk.waiting)
    session.take(pop(200.0))

    keyboard.obey("s")
    assert "the pop of KEY came first: nothing is skipped" in capsys.readouterr().out
    assert session.walk.waiting.light_id == session.light("FILL").id

    screen.wait_for(session.walk.waiting)
    keyboard.obey("s")
    keyboard.obey("s")
    said = capsys.readouterr().out
    assert "skipped: FILL" in said
    assert "skipped: HAIR" in said
    assert session.walk.done


def test_a_pop_that_clips_is_named_by_its_light(
    session: Session, pop: Callable[..., Measurement], capsys: pytest.CaptureFixture[str]
) -> None:
    """The sensor's own words follow the light's name, the first time and the second: the line above is about another light."""
    session.begin([session.request(session.light("FILL"))])
    for _ in range(2):
        Screen(session).outcome(session.take(pop(200.0, clipped=True, note="clips: now on the bright range")))
        assert capsys.readouterr().out.startswith("! FILL: clips: now on the bright range")


def test_what_is_said_after_a_pop_keeps_its_lines(
    session: Session, pop: Callable[..., Measurement], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A list of what to change stays a list on a terminal, which breaks each of its lines for itself."""
    session.begin([session.request(session.light("FILL"))])
    screen = Screen(session, lambda _: "now change:\n  KEY: power up\n  HAIR: power down")
    monkeypatch.setattr(screen.live, "on", True)
    screen.outcome(session.take(pop(200.0)))

    said = re.sub("\x1b\\[[0-9;]*[mK]|\r", "", capsys.readouterr().out)
    assert "  now change:\n    KEY: power up\n    HAIR: power down\n" in said


class Typing:
    """Nobody at the keyboard."""

    interactive = False

    async def next(self) -> str | None:
        """No more lines."""
        return None
