"""Runs under MicroPython: ``micropython run_finder.py FAMILY``; a line for each measurement of a finder on its register model.

Standard input: the measurements, as JSON (an argument of this interpreter has at most 255 bytes).
"""

import json
import sys

import machine
import micropython
from finder_models import LongModel, ShortModel
from ranger import finder


def main():
    """Set up, measure, lose the chip."""
    family = int(sys.argv[1])
    results = json.load(sys.stdin)
    model = machine.I2C.chip = (ShortModel if family == 1 else LongModel)(results)
    found = finder({"ranger": family, "ranger_sda": 4})
    if family == 1:
        print(len(model.cells()), min(model.cells()))
    for _ in results:
        micropython.heap_lock()
        try:
            found.start()
            over = found.ready()
            found.read()
        finally:
            micropython.heap_unlock()
        print(over, found.status, found.distance_mm, found.uncertainty_mm, found.signal)
    model.dead = True
    try:
        found.start()
    except OSError:
        print("lost")


main()
