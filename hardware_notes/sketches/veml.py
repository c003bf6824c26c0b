"""Light chips of the VEML family on I2C, MicroPython: one line of lux a reading.  Never run on hardware."""

import time

from machine import I2C, Pin

ADDRESS, LX_PER_COUNT = 0x10, 1.8432  # gain 1/8 and 25 ms
bus = I2C(0, sda=Pin(4), scl=Pin(5), freq=100000)
bus.writeto_mem(ADDRESS, 0x00, b"\x00\x13")

while True:
    time.sleep(0.06)
    count = int.from_bytes(bus.readfrom_mem(ADDRESS, 0x04, 2), "little")
    print("OL" if count >= 65535 else "%.1f lx # veml" % (count * LX_PER_COUNT))
