"""What hangs on the board's pins: range switch, supply, battery, temperature.

The chip's temperature sensor: 706 mV at 27 degrees, 1.721 mV less for each degree more (data sheet, from memory).  No two
chips agree better than a few degrees.
"""

from array import array

from converter import TEMPERATURE
from machine import Pin, unique_id
from messages import NOT_KNOWN
from micropython import const

_SCALE = const(65536)
"""``Converter.measure`` gives the sum of 16 codes of 12 bits."""
RANGES = const(2)
TEMPERATURE_NOT_KNOWN = const(0x7FFF)
_SUPPLY_NOMINAL_MV = const(3300)


def identity(serial):
    """Return eight bytes that never change, from the chip's own number."""
    return bytes(serial[i % len(serial)] for i in range(8)) if serial else bytes(8)


def tenths_of_degree(total, reference_mv):
    """Return the temperature in 0.1 degrees C for a sum of 16 codes of the chip's sensor."""
    # microvolts would not fit a small integer: 16ths of mV, times 4096/1000, stay below it
    code_mv = total * reference_mv // 16  # mV x 4096
    return 270 - (code_mv - 706 * 4096) * 10 // 7049


def millivolts(total, reference_mv, factor):
    """Return the voltage before a divider of ``factor``, in mV."""
    return (total * reference_mv // 16) * factor // 4096


class Board:
    """Pins as the settings say."""

    ranges = RANGES

    def __init__(self, settings):
        self._range = Pin(settings["range_pin"], Pin.OUT, value=1)
        self._reference_mv = settings["reference_mv"]
        self._supply = settings["supply_input"]
        self._battery = settings["battery_input"]
        self._factor = settings["battery_halved"]
        self._empty_mv, self._full_mv = settings["battery_empty_mv"], settings["battery_full_mv"]
        self.has_battery = self._battery >= 0
        self.percent, self.millivolts = 255, NOT_KNOWN
        self.temperature = TEMPERATURE_NOT_KNOWN
        self.supply_mv = NOT_KNOWN
        """The regulator's 3.3 V by the reference: far from 3,300 mV, one of the two is not what it should be."""
        inputs = [TEMPERATURE]
        for one in (self._supply, self._battery):
            if one >= 0:
                Pin(26 + one, Pin.IN)
                inputs.append(one)
        self._inputs = tuple(inputs)
        self._totals = array("i", [0] * 3)

    def unique_id(self):
        """Return the chip's own eight bytes."""
        return identity(unique_id())

    def set_range(self, sensitivity):
        """Switch: 0 the bright range (the second feedback is closed), 1 the dim one."""
        self._range.value(1 if sensitivity == 0 else 0)

    def measure(self, converter):
        """Measure temperature, supply and battery; the converter is taken away from the light for a moment."""
        t = self._totals
        converter.measure(self._inputs, t)
        self.temperature = tenths_of_degree(t[0], self._reference_mv)
        place = 1
        if self._supply >= 0:
            self.supply_mv = millivolts(t[place], self._reference_mv, 2)
            place += 1
        if self._battery >= 0:
            self.millivolts = millivolts(t[place], self._reference_mv, self._factor)
            share = (self.millivolts - self._empty_mv) * 100 // (self._full_mv - self._empty_mv)
            self.percent = min(max(share, 0), 100)
