"""Runs under MicroPython: the board's own files, with conversions from a pipe and time as the bench says.

``micropython run_board.py ORDERS ANSWERS FINDER START_MS TURN_US``: from ORDERS come pieces ``<u32 n> n x u16``; those go into
the ring, n intervals of time pass, the device takes a turn every TURN_US, and ANSWERS gets one byte, the range pin with
flags.  n = 0 ends it; n = EVENT is followed by ``<u8 kind> <u16 length> length bytes``, something that happens to the board
from outside, and is answered by ``<u32 length> length bytes``.  The board's clock stands at START_MS when it starts.
Standard input and output are the USB line.
"""

import memory  # noqa: F401, I001  before all else, as main.py does
import sys
import time
from struct import pack, unpack

import bluetooth
import converter
import device
import lines
import machine
import micropython
import rp2
import uctypes
from main import assemble

EVENT = 0xFFFFFFFF
HEARD, ADVERTISED, ROOM, FINDER_GONE, FINDER_BACK, TURN_LASTS, OTHER_INPUT, SKIP = 100, 101, 102, 103, 104, 105, 106, 107
HOUSE = 108
PERIOD = 1 << 30
"""Ticks of the board's processors wrap here; those of this interpreter only at 62 bits."""


class Clock:
    """Time of the bench, in place of the chip's."""

    now_us = 0
    skipped_us = 0
    turn_us = 400

    @staticmethod
    def ticks_us():
        """Time of the bench."""
        return Clock.now_us & (PERIOD - 1)

    @staticmethod
    def ticks_ms():
        """The same in milliseconds; it wraps a thousand times later."""
        return Clock.now_us // 1000 & (PERIOD - 1)

    @staticmethod
    def ticks_diff(later, sooner):
        """From one tick to another, across a wrap."""
        return ((later - sooner + PERIOD // 2) & (PERIOD - 1)) - PERIOD // 2

    @staticmethod
    def ticks_add(ticks, more):
        """A tick so much later."""
        return (ticks + more) & (PERIOD - 1)

    sleep_ms = time.sleep_ms


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


def happen(kind, data):
    """Something from outside; returns the answer."""
    radio = bluetooth.made[0] if bluetooth.made else None
    if kind == HEARD:
        return radio.taken()
    if kind == ADVERTISED:
        return b"" if radio.advertising is None else radio.advertising[0] + b"|" + radio.advertising[1]
    if kind == ROOM:
        radio.room = unpack("<H", data)[0]
    elif kind in (FINDER_GONE, FINDER_BACK):
        machine.I2C.chip.dead = kind == FINDER_GONE
    elif kind == TURN_LASTS:
        Clock.turn_us = unpack("<I", data)[0]
    elif kind == OTHER_INPUT:
        machine.other_inputs[data[0]] = data[1] | data[2] << 8
    elif kind == SKIP:
        # the only way to a minute in a second: the board takes it for a loop that was held up
        Clock.skipped_us += 1000 * unpack("<I", data)[0]
    else:
        radio.event(kind, data)
    return b""


def serve(sensor, interval_ns, orders, answers):
    """Turn after turn until the bench has enough."""
    ns = Clock.now_us * 1000
    answer = bytearray(1)
    begun_us, since = Clock.now_us, 0
    locked = False
    while True:
        (count,) = unpack("<I", orders.read(4))
        if count == 0:
            return
        if count == EVENT:
            kind, length = unpack("<BH", orders.read(3))
            data = orders.read(length) if length else b""
            if kind == HOUSE:
                # a minute has passed for its housekeeping alone: no conversion is overwritten meanwhile
                sensor._housekeeping_ms = Clock.ticks_add(Clock.ticks_ms(), -device.HOUSEKEEPING_MS)
            said = happen(kind, data) if kind != HOUSE else b""
            answers.write(pack("<I", len(said)) + said)
            continue
        per_turn = Clock.turn_us * 1000 // interval_ns
        while count:
            n = min(count, max(per_turn - since, 1))
            put(orders, n)
            count -= n
            since += n
            ns += n * interval_ns
            Clock.now_us = ns // 1000 + Clock.skipped_us
            if since < per_turn:
                break
            since = 0
            locked = Clock.now_us - begun_us > 300000  # what is made once has been made by then
            if locked:
                micropython.heap_lock()
            try:
                sensor.turn(Clock.ticks_ms(), Clock.ticks_us())
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
    sensor, complaints = assemble()
    if complaints and sys.argv[3] == "wired":
        raise ValueError(complaints)
    for module in (converter, device, lines, sys.modules.get("ble")):
        if module:
            module.time = Clock
    micropython.kbd_intr(-1)
    interval_ns = machine.mem32.clocks() * 1000 // 48
    Clock.now_us = int(sys.argv[4]) * 1000
    Clock.turn_us = int(sys.argv[5])
    sensor.start(Clock.ticks_ms(), Clock.ticks_us())
    with open(sys.argv[1], "rb") as orders, open(sys.argv[2], "wb") as answers:
        serve(sensor, interval_ns, orders, answers)
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

    gc.collect()  # what the bench itself has left, pieces of pipes; while the board samples nothing of its own is left
    sys.stderr.write("free %d of %d\n" % (gc.mem_free(), gc.mem_free() + gc.mem_alloc()))


if __name__ == "__main__":
    main()
