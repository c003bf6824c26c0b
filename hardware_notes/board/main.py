"""Build (d): flash and steady light on a MicroPython board, over USB and, with a radio, over Bluetooth LE.

NEVER RUN ON A BOARD; see build_d.md.  Copy all files of this folder to the board; it starts by itself.
"""

import gc
import sys
import time

import memory  # noqa: F401  before all else
import micropython
from board import Board
from converter import Converter
from device import Device
from lines import Leave, UsbLine
from settings import load

FAULT_PATH = "fault.txt"


def assemble():
    """Return the device as the settings want it, and complaints about them."""
    settings, complaints = load()
    converter = Converter(settings["rate_khz"], settings["input"])
    board = Board(settings)
    lines = [UsbLine()]
    if settings["bluetooth"]:
        try:
            from ble import BleLine
        except ImportError:
            pass  # a board without a radio
        else:
            lines.append(BleLine(settings["name"]))
    device = Device(board, converter, lines, board.unique_id(), settings["name"].encode())
    try:
        if settings["ranger"]:
            # Its program needs room that a board without one keeps.
            from ranger import finder

            device.ranger = finder(settings)
    except OSError as why:
        # Light is measured all the same; the host types its distances.
        complaints.append("range finder: %s" % why)
    return device, complaints


def note(text):
    """Leave a word for whoever looks, unless it stands there already: the flash wears."""
    try:
        with open(FAULT_PATH) as file:
            if file.read() == text:
                return
    except OSError:
        pass
    with open(FAULT_PATH, "w") as file:
        file.write(text)


def run():
    """Be a sensor until a person asks for the prompt."""
    device, complaints = assemble()
    if complaints:
        note("\n".join(complaints))
    # The wire carries every byte, 0x03 too.
    micropython.kbd_intr(-1)
    gc.collect()
    try:
        device.start(time.ticks_ms(), time.ticks_us())
        while True:
            device.turn(time.ticks_ms(), time.ticks_us())
    except Leave:
        pass
    finally:
        micropython.kbd_intr(3)


def main():
    """Run; after a fault leave it in a file and start anew in two seconds, in which Ctrl-C works."""
    try:
        run()
    except Exception as why:
        from io import StringIO

        text = StringIO()
        sys.print_exception(why, text)
        note(text.getvalue())
        time.sleep(2)
        from machine import reset

        reset()


if __name__ == "__main__":
    main()
