"""Runs under MicroPython: the board's own files, with conversions from a pipe and time as the bench says.

``micropython run_board.py ORDERS ANSWERS``: from ORDERS come pieces ``<u32 n> n x u16``; those go into the ring, n
intervals of time pass, the device takes its turns, and ANSWERS gets one byte, the range pin with flags.  n = 0 ends it.
Standard input and output are the USB line.
"""

import memory  # noqa: F401, I001  before all else, as main.py does
import sys
import time
from struct import unpack

import converter
import machine
import micropython
import rp2
import uctypes
from main import assemble

TURN_US = 400


class Clock:
    """Time of the bench, in place of the chip's."""

    now_us = 0
    ticks_diff = time.ticks_diff

    @staticmethod
    def ticks_us():
        """Time of the bench."""
        return Clock.now_us


def read_into(stream, room):
    """Fill all of ``room``."""
    at = 0
    while at < len(room):
        count = stream.readinto(room[at:])
        if not count:
            raise SystemExit(0)
        at += count


def put(stream, count):
    """Let ``count`` conversions come: into the ring when the converter runs, else nowhere."""
    while count:
        fill = rp2.channels[0]
        if machine.mem32.free_running() and fill.running:
            if fill.ctrl["size"] != 1 or fill.ctrl["inc_read"] or fill.ctrl["treq"] != REQUEST:
                raise ValueError("this channel does not move conversions")
            n = min(count, fill.row())
            read_into(stream, memoryview(uctypes.bytearray_at(fill.write, 2 * n)))
            fill.moved(n)
        else:
            n = count
            read_into(stream, memoryview(bytearray(2 * n)))
        count -= n


def serve(device, interval_ns, orders, answers):
    """Turn after turn until the bench has enough."""
    ns = 0
    answer = bytearray(1)
    per_turn = TURN_US * 1000 // interval_ns
    locked = False
    while True:
        (count,) = unpack("<I", orders.read(4))
        if count == 0:
            return
        while count:
            n = min(count, per_turn)
            put(orders, n)
            count -= n
            ns += n * interval_ns
            us = Clock.now_us = ns // 1000
            locked = us > 300000  # what is made once has been made by then
            if locked:
                micropython.heap_lock()
            try:
                device.turn(us // 1000, us)
            finally:
                if locked:
                    micropython.heap_unlock()
        answer[0] = machine.pins[machine.BRIGHT_PIN].level()
        answers.write(answer)


MACHINE = "Board with RP2040"
REQUEST = 36
machine.mem32.place(0x4004C000)
# 706 mV at 27 degrees, in codes of 3.0 V; half of 3.3 V; half of 3.9 V
machine.other_inputs.update({4: 964, 1: 2253, 2: 2662})


def main():
    """Assemble as main.py does, then serve."""
    if sys.argv[3] == "wired":
        put_finder()
    device, complaints = assemble()
    if complaints and sys.argv[3] == "wired":
        raise ValueError(complaints)
    converter.time = Clock
    micropython.kbd_intr(-1)
    interval_ns = machine.mem32.clocks() * 1000 // 48
    device.start(0, 0)
    with open(sys.argv[1], "rb") as orders, open(sys.argv[2], "wb") as answers:
        serve(device, interval_ns, orders, answers)
    print_memory()


def put_finder():
    """On the bus, in case the settings name one: every measurement is good and a millimetre farther than the last."""
    import json

    from finder_models import LongModel, ShortModel

    with open("settings.json") as file:
        family = json.load(file).get("ranger", 0)
    if family:
        one = {"code": 11 if family == 1 else 9, "distance": 100, "signal": 900, "sigma": 8}
        machine.I2C.chip = (ShortModel if family == 1 else LongModel)([one])


def print_memory():
    """For the bench, on standard error."""
    import gc

    sys.stderr.write("free %d of %d\n" % (gc.mem_free(), gc.mem_free() + gc.mem_alloc()))


if __name__ == "__main__":
    main()
