"""A time-of-flight range finder on I2C behind the dome, one measurement at a time: two common families.

NEVER RUN ON A CHIP.  Registers and their use after the makers' data sheets, user manuals and published register tables, FROM
MEMORY; the tests run this against register models written from the same facts.  ``SHORT`` is the family with 8-bit
registers (VL53L0X: model 0xEE at 0xC0), to about 1 m; ``LONG`` the one with 16-bit registers (VL53L1X: model 0xEACC at
0x010F), here in its short mode, which bears the most other light.  Both at address 0x29; figures are from their own zero.

``start`` begins one measurement of 33 ms, ``ready`` says whether it is over, ``read`` takes it: ``distance_mm``,
``uncertainty_mm``, ``status`` and ``signal`` are then those of the wire's DISTANCE.  None of the three allocates memory.  All
raise OSError when the chip does not answer.
"""

import time

from machine import I2C, Pin
from micropython import const

SHORT, LONG = 1, 2
ADDRESS = const(0x29)
NOT_KNOWN = const(0xFFFF)
GOOD, NOTHING, WEAK, BRIGHT, AMBIGUOUS, SILENT = 0, 1, 2, 3, 4, 5
BOOT_MS = const(100)
FARTHEST_MM = const(4000)

# (register, value): the settings that the maker's own software writes before first use, without explanation
_SHORT_TUNING = bytes.fromhex(
    "ff010000ff00090010001100240125ff7500ff014e2c48003020ff00"
    "30095400310432034083462560002700500651005296560857306100"
    "62006400650066a0ff012232471449ff4a00ff007a0a7b007821ff01"
    "2334420044ff4526460540400e06201a4340ff0034033544ff013104"
    "4b094c054d04ff00440045204708482867007004710172fe76007700"
    "ff010d01ff00800101f8ff018e010001ff008000"
)
# registers 0x2D to 0x87 of the other family
_LONG_FROM = const(0x2D)
_LONG_START = bytes.fromhex(
    "0000000102000208000810010100000000ff000f0000000000200b00"
    "00020a2100000500000000c8000038ff010008000001cc0f01f10d01"
    "68008008b8000000000f8900000000000000010f0d0e0e000002c7ff"
    "9b000000010000"
)


def _wait(done, what):
    """Look every millisecond until it is done; OSError after a tenth of a second."""
    for _ in range(BOOT_MS):
        if done():
            return
        time.sleep_ms(1)
    raise OSError(what)


class _Finder:
    def __init__(self, bus, address_bits):
        self._bus, self._bits = bus, address_bits
        self._one, self._two = bytearray(1), bytearray(2)
        self.distance_mm = self.uncertainty_mm = self.signal = NOT_KNOWN
        self.status = SILENT

    def _put(self, register, value):
        self._one[0] = value
        self._bus.writeto_mem(ADDRESS, register, self._one, addrsize=self._bits)

    def _put_two(self, register, value):
        self._two[0], self._two[1] = value >> 8, value & 0xFF
        self._bus.writeto_mem(ADDRESS, register, self._two, addrsize=self._bits)

    def _get(self, register):
        self._bus.readfrom_mem_into(ADDRESS, register, self._one, addrsize=self._bits)
        return self._one[0]

    def _keep(self, status, distance_mm, uncertainty_mm, signal, ambient):
        """Figures of one measurement; ``signal`` and ``ambient`` in 1000 counts a second."""
        if status == WEAK and ambient > 8 * signal:
            status = BRIGHT
        if status == GOOD and distance_mm > FARTHEST_MM:
            status = NOTHING
        self.status, self.signal = status, min(signal, NOT_KNOWN - 1)
        self.distance_mm = distance_mm if status == GOOD else NOT_KNOWN
        self.uncertainty_mm = uncertainty_mm if status == GOOD else NOT_KNOWN


class ShortFinder(_Finder):
    """The family with 8-bit registers."""

    def __init__(self, bus):
        super().__init__(bus, 8)
        self._result = bytearray(12)
        if self._get(0xC0) != 0xEE:
            raise OSError("no range finder of the short family")
        self._put(0x88, 0x00)
        self._secret(True)
        self._stop = self._get(0x91)
        self._secret(False)
        self._put(0x60, self._get(0x60) | 0x12)  # neither limit of the first step
        self._put_two(0x44, 32)  # least signal: 0.25 million counts a second, 9.7 bits
        self._put(0x01, 0xFF)
        self._choose_references()
        for i in range(0, len(_SHORT_TUNING), 2):
            self._put(_SHORT_TUNING[i], _SHORT_TUNING[i + 1])
        self._put(0x0A, 0x04)  # a new measurement is what is told
        self._put(0x84, self._get(0x84) & ~0x10)
        self._put(0x0B, 0x01)
        for step, how in ((0x01, 0x41), (0x02, 0x01)):  # its own two adjustments
            self._put(0x01, step)
            self._put(0x00, how)
            _wait(self.ready, "the range finder's adjustment does not end")
            self._put(0x0B, 0x01)
            self._put(0x00, 0x00)
        self._put(0x01, 0xE8)  # the steps of a measurement

    def _secret(self, on):
        """The way to registers that the data sheet does not list."""
        if on:
            self._put(0x80, 0x01)
            self._put(0xFF, 0x01)
            self._put(0x00, 0x00)
        else:
            self._put(0x00, 0x01)
            self._put(0xFF, 0x00)
            self._put(0x80, 0x00)

    def _choose_references(self):
        """Which of its reference cells are used: their number and kind stand in the chip's own memory."""
        self._secret(True)
        self._put(0xFF, 0x06)
        self._put(0x83, self._get(0x83) | 0x04)
        for register, value in ((0xFF, 0x07), (0x81, 0x01), (0x80, 0x01), (0x94, 0x6B), (0x83, 0x00)):
            self._put(register, value)
        _wait(lambda: self._get(0x83) != 0, "the range finder's memory does not answer")
        self._put(0x83, 0x01)
        found = self._get(0x92)
        wanted, first = found & 0x7F, 12 if found & 0x80 else 0
        self._put(0x81, 0x00)
        self._put(0xFF, 0x06)
        self._put(0x83, self._get(0x83) & ~0x04)
        self._put(0xFF, 0x01)
        self._secret(False)
        cells = bytearray(6)
        self._bus.readfrom_mem_into(ADDRESS, 0xB0, cells, addrsize=8)
        for register, value in ((0xFF, 0x01), (0x4F, 0x00), (0x4E, 0x2C), (0xFF, 0x00), (0xB6, 0xB4)):
            self._put(register, value)
        used = 0
        for i in range(48):
            bit = 1 << (i & 7)
            if i < first or used == wanted:
                cells[i >> 3] &= ~bit & 0xFF
            elif cells[i >> 3] & bit:
                used += 1
        self._bus.writeto_mem(ADDRESS, 0xB0, cells, addrsize=8)

    def start(self):
        """Begin one measurement."""
        self._secret(True)
        self._put(0x91, self._stop)
        self._secret(False)
        self._put(0x00, 0x01)

    def ready(self):
        """Whether it is over."""
        return self._get(0x13) & 0x07 != 0

    def read(self):
        """Take the measurement.  The chip gives no uncertainty of its own."""
        r = self._result
        self._bus.readfrom_mem_into(ADDRESS, 0x14, r, addrsize=8)
        self._put(0x0B, 0x01)
        code = r[0] >> 3 & 0x0F
        if code == 11:
            status = GOOD
        elif code == 4 or code == 5:
            status = WEAK
        elif code == 6 or code == 9:
            status = AMBIGUOUS
        elif 1 <= code <= 3:
            status = SILENT
        else:
            status = NOTHING
        # rates are 9.7 bits of a million a second: 1000 / 128 = 125 / 16
        signal, ambient = (r[6] << 8 | r[7]) * 125 >> 4, (r[8] << 8 | r[9]) * 125 >> 4
        self._keep(status, r[10] << 8 | r[11], NOT_KNOWN, signal, ambient)


class LongFinder(_Finder):
    """The family with 16-bit registers."""

    def __init__(self, bus):
        super().__init__(bus, 16)
        self._result = bytearray(17)
        _wait(lambda: self._get(0xE5) & 0x01, "the range finder does not start")
        if (self._get(0x10F), self._get(0x110)) != (0xEA, 0xCC):
            raise OSError("no range finder of the long family")
        self._bus.writeto_mem(ADDRESS, _LONG_FROM, _LONG_START, addrsize=16)
        self._put(0x87, 0x40)  # one measurement, so that it adjusts itself to its temperature
        _wait(self.ready, "the range finder's adjustment does not end")
        self._put(0x86, 0x01)
        self._put(0x87, 0x00)
        self._put(0x08, 0x09)
        self._put(0x0B, 0x00)
        for register, value in ((0x4B, 0x14), (0x60, 0x07), (0x63, 0x05), (0x69, 0x38)):  # short mode
            self._put(register, value)
        for register, value in ((0x78, 0x0705), (0x7A, 0x0606), (0x5E, 0x00D6), (0x61, 0x006E)):  # ... in 33 ms
            self._put_two(register, value)

    def start(self):
        """Begin one measurement."""
        self._put(0x86, 0x01)
        self._put(0x87, 0x10)

    def ready(self):
        """Whether it is over."""
        # bit 4 of 0x30 says which level means it; we set it to "high".
        return self._get(0x31) & 0x01 == 1

    def read(self):
        """Take the measurement."""
        r = self._result
        self._bus.readfrom_mem_into(ADDRESS, 0x89, r, addrsize=16)
        self._put(0x86, 0x01)
        code = r[0] & 0x1F
        if code == 9:
            status = GOOD
        elif code == 4 or code == 6:  # too little signal; too wide
            status = WEAK
        elif code == 7:
            status = AMBIGUOUS
        elif code == 3:
            status = SILENT
        else:
            status = NOTHING
        signal, ambient = (r[15] << 8 | r[16]) * 125 >> 4, (r[7] << 8 | r[8]) * 125 >> 4
        # 14.2 bits of a millimetre, rounded up
        self._keep(status, r[13] << 8 | r[14], ((r[9] << 8 | r[10]) + 3) >> 2, signal, ambient)


def finder(settings):
    """Return the range finder that the settings name.  OSError when it does not answer."""
    family = settings["ranger"]
    bus = I2C(0, sda=Pin(settings["ranger_sda"]), scl=Pin(settings["ranger_sda"] + 1), freq=400000)
    return ShortFinder(bus) if family == SHORT else LongFinder(bus)
