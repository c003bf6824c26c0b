"""Build (d): ``main.py`` started as the board starts it, in one process on a pty, with the settings of its folder."""

from __future__ import annotations

import os
import pty
import random
import select
import subprocess
import time
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import board_reader as r
import pytest
from board_bench import HERE, environment, interpreter, why_not

pytestmark = pytest.mark.skipif(why_not() is not None, reason=str(why_not()))
PATIENCE_S = 20.0


class Program:
    """The running program and the host's end of its line."""

    def __init__(self, process: subprocess.Popen[str], line: int) -> None:
        self.process, self._line = process, line
        self.said = b""

    def write(self, data: bytes) -> None:
        """To the board."""
        os.write(self._line, data)

    def until(self, kind: int) -> dict[str, object]:
        """Read until there is a message of this kind that was not there before."""
        before, end = len(r.of(self.messages(), kind)), time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            if select.select([self._line], [], [], 0.05)[0]:
                self.said += os.read(self._line, 65536)
            found = r.of(self.messages(), kind)
            if len(found) > before:
                return found[-1]
            if self.process.poll() is not None:
                break
        raise TimeoutError(f"no message of kind {kind}, exit code {self.process.poll()}: {self.said!r}")

    def messages(self) -> list[r.Message]:
        """Everything so far."""
        return r.messages(self.said[: self.said.rfind(b"\0") + 1])

    def ended(self) -> int:
        """Wait for its end; the exit code."""
        end = time.monotonic() + PATIENCE_S
        while self.process.poll() is None and time.monotonic() < end:
            if select.select([self._line], [], [], 0.02)[0]:
                os.read(self._line, 65536)
        return self.process.wait(1)


@contextmanager
def started(folder: Path, *arguments: str) -> Iterator[Program]:
    """Start the program; it is killed at the end whatever happens."""
    line, board = pty.openpty()
    tty.setraw(board)
    command = [str(interpreter()), "-X", "heapsize=180k", str(HERE / "run_program.py"), *arguments]
    process = subprocess.Popen(
        command, stdin=board, stdout=board, stderr=subprocess.DEVNULL, env=environment(), cwd=folder, text=True
    )  # fmt: skip
    try:
        yield Program(process, line)
    finally:
        process.kill()
        process.wait(PATIENCE_S)
        os.close(line)
        os.close(board)


def test_settings_are_kept_over_a_restart(tmp_path: Path) -> None:
    """Without a file the usual name and rate; with one its own, each time that the board starts; nothing is written to it."""
    for settings, name_length, interval_ns in (("", 4, 4000), *[('{"name": "my dome", "rate_khz": 100}', 7, 10_000)] * 2):
        if settings:
            (tmp_path / "settings.json").write_text(settings)
        with started(tmp_path) as program:
            identity = program.until(r.IDENTITY)
        assert (identity["name_length"], identity["interval_ns"]) == (name_length, interval_ns)
        assert program.messages()[0].kind == r.IDENTITY
    assert [one.name for one in tmp_path.iterdir()] == ["settings.json"]
    assert (tmp_path / "settings.json").read_text() == settings


@pytest.mark.parametrize(
    ("damaged", "said"),
    [
        (b'{"name": "my dome", "rate_khz": 1', "settings.json: not JSON (a comma or a quotation mark?)"),
        (b"\xff\xfe\x00{", "settings.json: not"),
        (b"[1, 2]", "settings.json: not a list of names and values in braces"),
        (b'{"rate_khz": 5000, "bluetooth": 1, "nmae": "x"}', "settings.json: rate_khz cannot be 5000"),
        (b"[" * 4000, "settings.json: not"),
        (b"", "settings.json: not JSON"),
    ],
    ids=["cut off", "not text", "a list", "impossible", "deep", "empty"],
)
def test_a_damaged_file_is_told_and_the_usual_settings_hold(damaged: bytes, said: str, tmp_path: Path) -> None:
    """The board starts all the same; what is wrong stands in fault.txt, one line each."""
    (tmp_path / "settings.json").write_bytes(damaged)
    with started(tmp_path) as program:
        identity = program.until(r.IDENTITY)
    assert (identity["name_length"], identity["interval_ns"]) == (4, 4000)
    assert said in (tmp_path / "fault.txt").read_text()
    assert len((tmp_path / "fault.txt").read_text().splitlines()) == (3 if b"nmae" in damaged else 1)


def test_a_finder_that_is_set_and_not_wired_is_told(tmp_path: Path) -> None:
    """Light comes, the identity has no range finder, fault.txt names it."""
    (tmp_path / "settings.json").write_text('{"ranger": 1}')
    with started(tmp_path) as program:
        identity = program.until(r.IDENTITY)
        program.until(r.STEADY)
    assert not int(str(identity["capabilities"])) & 8
    assert (tmp_path / "fault.txt").read_text().startswith("range finder: ")


def test_hostile_bytes_do_not_end_the_program(tmp_path: Path) -> None:
    """Every byte value, Ctrl-C too, in noise and in frames: the program runs on and answers; then CR, Ctrl-C gives the prompt."""
    chance = random.Random(7)
    with started(tmp_path) as program:
        program.until(r.STEADY)
        for _ in range(30):
            program.write(b"\x02" + bytes(chance.randrange(256) for _ in range(100)) + b"\x03\x04\r\n\0")
            program.write(b"\x03\x03\x01\x02\0" + b"\x04" * 80 + b"\0")
            program.until(r.STEADY) if chance.random() < 0.1 else None
        program.write(b"\0" + r.command(0x86, 5))
        assert int(str(program.until(r.STATUS)["refused"])) > 40
        assert program.process.poll() is None
        program.write(b"\0\r\x03")
        assert program.ended() == 0


def test_a_fault_is_left_in_a_file_and_the_board_starts_anew(tmp_path: Path) -> None:
    """An error that nobody foresaw: where and what stands in fault.txt, then a reset; the same again does not write again."""
    written = []
    for _ in range(2):
        with started(tmp_path, "fault") as program:
            assert program.ended() == 3
        text = (tmp_path / "fault.txt").read_text()
        assert text.startswith("Traceback")
        assert "ValueError: no such input" in text
        written.append((tmp_path / "fault.txt").stat().st_mtime_ns)
    assert written[0] == written[1]
