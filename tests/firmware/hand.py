"""A hand at the command line and at the lamps: reads what a walk asks, sets the chip's light bench to it, presses keys, fires."""

from __future__ import annotations

import math
import os
import pty
import re
import select
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from hardware_notes.firmware.bench.simulated_chip import SimulatedChip
from meterlink.units import format_f_number

FULL_LX = {"bright": 2e6, "dim": 2e5}
DECAY_US, RISE_US, SHORT_US = 400.0, 30.0, 60.0
ROOM_LX = 60.0
LAMP_LX = 120e3
"""The brightest steady lamp at hand."""
SILENCE_S = 45.0
CONSTANT = 330.0
ESCAPES = re.compile(r"\x1b\[[0-9;]*[A-Za-z]")
STEP = re.compile(r"\[\d+/\d+\] ([^:]+): (.*)")


class Hand:
    """Someone who does what ``meterlink calibrate`` and ``verify`` ask at a chip whose time passes by itself."""

    def __init__(self, chip: SimulatedChip, library: Path, *arguments: str, terminal: bool = False) -> None:
        self.chip = chip
        self.master, slave = pty.openpty()
        command = [sys.executable, str(Path(__file__).with_name("quick.py")), "--library", str(library), *arguments]
        command += ["--sensor", f"serial:{chip.pty_path}?baud=250000"]
        environment = {**os.environ, "PYTHONUNBUFFERED": "1", "TERM": "xterm"}
        out = slave if terminal else subprocess.PIPE
        self.process = subprocess.Popen(command, stdin=slave, stdout=out, stderr=subprocess.STDOUT, env=environment)
        os.close(slave)
        self.output = self.master if terminal else self.process.stdout.fileno()
        self.said: list[str] = []
        self.patience_s = SILENCE_S
        self.step = self.wish = ""
        self.misread: dict[str, float] = {}
        """Title of a reference's step -> factor by which it is misread, once."""
        self.set_lx: dict[str, float] = {}
        """What the lights were that dome and reference see one after the other, by title."""
        self.on_step: Callable[[str], bool] | None = None
        """Called at each new step; True when the hand is to do nothing more for it."""
        self._idle = False
        self._lit_lx = 0.0
        self._rest = b""

    # ------------------------------------------------------------------------------------------------ terminal

    def type(self, text: str = "") -> None:
        """Type a line."""
        os.write(self.master, text.encode() + b"\n")

    def lines(self):
        """What is said, line by line, until the end; escapes of a terminal are taken off."""
        while True:
            while b"\n" in self._rest:
                line, _, self._rest = self._rest.partition(b"\n")
                text = ESCAPES.sub("", line.decode(errors="replace")).strip("\r")
                self.said.append(text)
                yield text
            if not select.select([self.output], [], [], self.patience_s)[0]:
                raise AssertionError(f"nothing was said for {self.patience_s:g} s after:\n{self.text()}")
            try:
                piece = os.read(self.output, 65536)
            except OSError:  # a pty whose other end is closed
                piece = b""
            if not piece:
                return
            self._rest += piece

    def walk(self) -> int:
        """Do all that is asked, to the end; return the exit code."""
        for line in self.lines():
            found = STEP.search(line)
            if found:
                self.step, self.wish = found.groups()
                self._idle = bool(self.on_step and self.on_step(self.step))
            elif self._idle:
                continue
            elif line.startswith("  Enter when it is so"):
                self.look()
            elif line.startswith("  type what it reads"):
                self.type(self.reading())
            elif line.startswith("  fire"):
                self.fire()
            elif (line.startswith("! ") and "not counted" in line) or re.search(r": \d+ more \(", line):
                self.again()
        return self.process.wait(30)

    def again(self) -> None:
        """The same once more."""
        if self.is_flash():
            self.fire()
        else:
            self.look()

    def close(self) -> None:
        """Leave; ends the program if it still runs."""
        self.process.kill()
        self.process.wait()
        os.close(self.master)
        if self.process.stdout is not None:
            self.process.stdout.close()

    def text(self) -> str:
        """All that was said."""
        return "\n".join(self.said)

    # --------------------------------------------------------------------------------------------------- lamps

    def is_flash(self) -> bool:
        """Whether the step wants a pop."""
        return not (self.step.startswith(("dark", "light leaks", "steadiness", "lamp")))

    def full_lx(self) -> float:
        """Full scale by design of the range that the step names."""
        return FULL_LX["bright" if "range bright" in self.step else "dim"]

    def level_lx(self) -> float:
        """Light at the dome that the step asks for: steady, or the peak of a pop."""
        step = self.step
        if step.startswith("lamp"):
            return self.set_lx[step.partition(",")[0]]
        if step.startswith(("dark", "light leaks")):
            return 0.0
        if step.startswith("steadiness"):
            return 0.5 * FULL_LX["dim"]
        if step.startswith("overlap"):
            return 0.7 * FULL_LX["dim"]
        if found := re.match(r"bare bulb at ([\d.]+) m", step):
            return 0.5 * FULL_LX["bright"] * (0.5 / float(found.group(1))) ** 2
        if found := re.match(r"([+-]?\d+) degrees", step):
            return 0.6 * FULL_LX["dim"] * (1 + math.cos(math.radians(float(found.group(1))))) / 2
        if "light" in step:
            one = (0.45 if step.endswith("top") else 0.21) * self.full_lx()
            return one * (1.9 if step.startswith("both") else 0.9 if step.startswith("second") else 1.0)
        if found := re.search(r"about (\d+) % of (?:the )?range", self.wish):
            return float(found.group(1)) / 100 * self.full_lx()
        return {"repeats": 0.6, "faint repeats": 0.1, "shortest pulse": 0.3}[step] * FULL_LX["dim"]

    def light(self, steady_lx: float) -> None:
        """Set steady light."""
        self._lit_lx = steady_lx
        self.chip.ambient(steady_lx)

    def look(self) -> None:
        """Set steady light and press Enter."""
        self.light(self.level_lx())
        self.type()

    def fire(self) -> None:
        """Fire one pop in a dim room; for a pair of steady light, nothing: it is on."""
        if not self.is_flash():
            return
        # The room goes dark before the pop, as when a person switches the lamp off; of the chip's time.
        after_ms = 200.0
        self.light(ROOM_LX)
        decay_us = SHORT_US if self.step == "shortest pulse" else DECAY_US
        self.set_lx[self.step] = self.level_lx()
        self.chip.pop(peak_lx=self.level_lx(), decay_us=decay_us, rise_us=RISE_US, at_ms=after_ms)

    def reading(self) -> str:
        """What the reference reads in the dome's place: of the lamp, or of the pop that the dome saw before."""
        factor, light = self.misread.pop(self.step, 1.0), self.step.removeprefix("reference at ")
        if light.startswith("lamp"):
            found = re.search(r"about ([\d,]+) lx", self.wish)
            self.set_lx[light] = float(found.group(1).replace(",", "")) if found else LAMP_LX
            return f"{self.set_lx[light] * factor:.4g} lx"
        d, r = DECAY_US * 1e-6, RISE_US * 1e-6
        top = math.log(d / r) * d * r / (d - r)
        unit_s = (d - r) / (math.exp(-top / d) - math.exp(-top / r))
        return format_f_number(math.sqrt(self.set_lx[light] * unit_s * factor * 100 / CONSTANT))
