"""Light chips of the OPT3001 family on I2C, MicroPython: one line of lux a reading.  Never run on hardware."""

import time

from machine import I2C, Pin

ADDRESS = 0x44  # to 0x47, by its ADDR pin
bus = I2C(0, sda=Pin(4), scl=Pin(5), freq=100000)
bus.writeto_mem(ADDRESS, 0x01, b"\xc6\x10")  # range by itself, 100 ms, without end

while True:
    time.sleep(0.11)
    full = bus.readfrom_mem(ADDRESS, 0x01, 2)[0] & 0x01
    result = int.from_bytes(bus.readfrom_mem(ADDRESS, 0x00, 2), "big")
    print("OL" if full else "%.1f lx # opt3001" % (0.01 * (1 << (result >> 12)) * (result & 0x0FFF)))
