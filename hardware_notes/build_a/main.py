"""Build (a): a digital ambient-light chip on I2C, one line of lux a reading.  MicroPython.  Never run on hardware.

Registers, gain and integration time as in the data sheet of the VEML7700 (Vishay), from memory: address 0x10; 0x00
configuration (gain bits 12:11, integration time bits 9:6, bit 0 shut down); 0x04 light.
"""

import time

SDA_PIN = 4
SCL_PIN = 5
ADDRESS = 0x10
GAIN_EIGHTH = 0b10 << 11
TIME_25_MS = 0b1100 << 6
LX_PER_COUNT = 1.8432
"""At gain 1/8 and 25 ms: 0.0036 lx x 16 x 32."""
FULL = 65535


def lux(count):
    """Return lux for a count; None when it is full."""
    if count >= FULL:
        return None
    return count * LX_PER_COUNT


def line(count):
    """Return the line to print."""
    value = lux(count)
    return "OL" if value is None else f"{value:.1f} lx"


def configure(bus):
    """Switch the chip on."""
    bus.writeto_mem(ADDRESS, 0x00, (GAIN_EIGHTH | TIME_25_MS).to_bytes(2, "little"))


def read(bus):
    """Return the count of the light channel."""
    return int.from_bytes(bus.readfrom_mem(ADDRESS, 0x04, 2), "little")


def main(bus, pause=time.sleep, times=None):
    """Print readings for ever (or so many times)."""
    while times is None or times > 0:
        try:
            configure(bus)
            pause(0.06)
            print(line(read(bus)))
        except OSError:
            print("# no sensor: check the four wires")
            pause(1)
        if times is not None:
            times -= 1


if __name__ == "__main__":
    from machine import I2C, Pin

    main(I2C(0, sda=Pin(SDA_PIN), scl=Pin(SCL_PIN), freq=100000))
