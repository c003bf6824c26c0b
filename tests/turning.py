"""Time of simulated sensors that runs beside a program under test, and flashes that come when the program waits for them."""

from __future__ import annotations

import io
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from pathlib import Path

from meterlink.cli.main import main
from tests.processes import listened_to

LEAVE_S = 0.005
"""Between two turns the machine is left to the program under test."""


@contextmanager
def turning(turn: Callable[[], object]) -> Iterator[threading.Lock]:
    """Call ``turn`` again and again in a thread; whoever holds the lock has the sensor's time stand still."""
    over, lock = threading.Event(), threading.Lock()

    def run() -> None:
        while not over.is_set():
            with lock:
                turn()
            time.sleep(LEAVE_S)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    try:
        yield lock
    finally:
        over.set()
        thread.join(100)


class Photographer(io.TextIOBase):
    """Hears what ``meterlink meter`` says; ``fire`` is given the light that it waits for, once more when its pop is refused."""

    def __init__(self, fire: Callable[[str], object]) -> None:
        super().__init__()
        self._fire, self._wanted, self._rest = fire, "", ""
        self.heard = ""

    def hear(self, line: str) -> None:
        """One line."""
        if line.startswith("waiting for "):
            self._wanted = line.split()[2].rstrip(":")
        if line.startswith(("waiting for ", "!")) and self._wanted:
            self._fire(self._wanted)

    def write(self, text: str) -> int:
        """As a stream that is printed to."""
        self.heard += text
        *lines, self._rest = (self._rest + text).split("\n")
        for line in lines:
            self.hear(line)
        return len(text)


def metered(command: list[str], fire: Callable[[str], object]) -> None:
    """Run ``meterlink meter`` as a program of its own and fire when it waits."""
    listened_to(command, Photographer(fire).hear)


def metered_here(arguments: list[str], fire: Callable[[str], object]) -> None:
    """The same in this process, which spares its start; bounded by the test's own time."""
    person = Photographer(fire)
    with Path(os.devnull).open() as nobody, redirect_stdout(person), redirect_stderr(person):
        keys, sys.stdin = sys.stdin, nobody
        try:
            code = main(arguments)
        finally:
            sys.stdin = keys
    assert code == 0, person.heard
