"""Build (a): a digital ambient-light chip on I2C, one line of lux a reading.  MicroPython.  Never run on hardware.

Finds the chip by its address.  Registers as in the data sheets, from memory: VEML7700 (Vishay), BH1750FVI (Rohm), OPT3001 (Texas
Instruments).  Each is set to its widest range.
"""

import time

SDA_PIN = 4
SCL_PIN = 5


class Veml7700:
    """Address 0x10; register 0 configuration (gain bits 12:11, time bits 9:6, bit 0 shut down), 4 light; low byte first."""

    name = "veml"
    addresses = (0x10,)
    wait_s = 0.06
    lx_per_count = 1.8432
    """At gain 1/8 and 25 ms: 0.0036 lx x 16 x 32."""

    def start(self, bus, address):
        """Gain 1/8, 25 ms, on."""
        bus.writeto_mem(address, 0x00, (0b10 << 11 | 0b1100 << 6).to_bytes(2, "little"))

    def read(self, bus, address):
        """Lux; None when it is full."""
        count = int.from_bytes(bus.readfrom_mem(address, 0x04, 2), "little")
        return None if count >= 65535 else count * self.lx_per_count


class Bh1750:
    """Address 0x23, or 0x5C with ADDR high; commands of one byte, counts high byte first."""

    name = "bh1750"
    addresses = (0x23, 0x5C)
    wait_s = 0.09
    measuring_time = 31
    """Of 31 to 254; 69 is the chip's own, at which a lux is 1.2 counts.  The shortest reaches twice as far."""

    def start(self, bus, address):
        """On, the shortest measuring time, measure without end in steps of about 2 lx."""
        for command in (0x01, 0x40 | self.measuring_time >> 5, 0x60 | self.measuring_time & 31, 0x10):
            bus.writeto(address, bytes((command,)))

    def read(self, bus, address):
        """Lux; None when it is full."""
        count = int.from_bytes(bus.readfrom(address, 2), "big")
        return None if count >= 65535 else count / 1.2 * 69 / self.measuring_time


class Opt3001:
    """Address 0x44 to 0x47; register 0 result, 1 configuration; high byte first."""

    name = "opt3001"
    addresses = (0x44, 0x45, 0x46, 0x47)
    wait_s = 0.11

    def start(self, bus, address):
        """Range by itself, 100 ms, without end."""
        bus.writeto_mem(address, 0x01, b"\xc6\x10")

    def read(self, bus, address):
        """Lux; None when it is full.  Four bits of exponent, twelve of mantissa, in 0.01 lx."""
        if int.from_bytes(bus.readfrom_mem(address, 0x01, 2), "big") & 0x0100:
            return None
        result = int.from_bytes(bus.readfrom_mem(address, 0x00, 2), "big")
        return 0.01 * (1 << (result >> 12)) * (result & 0x0FFF)


CHIPS = (Veml7700(), Bh1750(), Opt3001())


def find(bus):
    """Return (chip, address), or None."""
    here = bus.scan()
    for chip in CHIPS:
        for address in chip.addresses:
            if address in here:
                return chip, address
    return None


def line(lux, name):
    """Return the line to print; the chip's family stands behind the light."""
    return "OL" if lux is None else f"{lux:.1f} lx # {name}"


def main(bus, pause=time.sleep, times=None):
    """Print readings for ever (or so many times); a chip that is pulled off and put back is found again."""
    found = None
    while times is None or times > 0:
        try:
            if found is None:
                found = find(bus)
                if found is not None:
                    found[0].start(bus, found[1])
                    pause(2 * found[0].wait_s)
            if found is None:
                print("# no light chip answers: check the four wires, SDA and SCL may be changed over")
                pause(1)
            else:
                print(line(found[0].read(bus, found[1]), found[0].name))
                pause(found[0].wait_s)
        except OSError:
            found = None
        if times is not None:
            times -= 1


if __name__ == "__main__":
    from machine import I2C, Pin

    main(I2C(0, sda=Pin(SDA_PIN), scl=Pin(SCL_PIN), freq=100000))
