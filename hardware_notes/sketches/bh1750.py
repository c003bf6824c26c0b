"""Light chips of the BH1750 family on I2C, MicroPython: one line of lux a reading.  Never run on hardware."""

import time

from machine import I2C, Pin

ADDRESS, TIME = 0x23, 31  # 0x5C with ADDR high; 31 is the shortest time and the widest range
bus = I2C(0, sda=Pin(4), scl=Pin(5), freq=100000)
for command in (0x01, 0x40 | TIME >> 5, 0x60 | TIME & 31, 0x10):
    bus.writeto(ADDRESS, bytes((command,)))

while True:
    time.sleep(0.09)
    count = int.from_bytes(bus.readfrom(ADDRESS, 2), "big")
    print("OL" if count >= 65535 else "%.1f lx # bh1750" % (count / 1.2 * 69 / TIME))
