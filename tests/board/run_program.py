"""Runs under MicroPython: ``main.py`` as the board starts it, its ring filled in real time with the dark of a sound build.

``micropython run_program.py [FAULT]``: FAULT makes the board's first measurement fail.  Standard input and output are the USB line.
"""

import memory  # noqa: I001  before all else, as main.py does
import sys
import time

import machine
import rp2

INTERVAL_US = 10
DARK = 80


class LiveDMA(rp2.DMA):
    """A channel whose place in the ring follows the interpreter's own clock: 100,000 conversions a second."""

    @property
    def write(self):
        """Where the next conversion goes."""
        if not self.running:
            return self._write
        return self._write + 2 * (time.ticks_us() // INTERVAL_US % memory.RING)

    @write.setter
    def write(self, place):
        self._write = place


class Sleepless:
    """``time`` for main.py alone: two seconds for Ctrl-C are not waited for."""

    ticks_ms, ticks_us = time.ticks_ms, time.ticks_us

    @staticmethod
    def sleep(_seconds):
        """Do not wait."""


rp2.DMA = LiveDMA
for i in range(memory.RING):
    memory.ring[i] = DARK
machine.mem32.place(0x4004C000)
machine.other_inputs.update({4: 964, 1: 2253, 2: 2662})

import board  # noqa: E402
import main  # noqa: E402

main.time = Sleepless
if sys.argv[1:] == ["fault"]:
    def fails(self, converter):
        """In place of the measurement."""
        raise ValueError("no such input")

    board.Board.measure = fails
main.main()
