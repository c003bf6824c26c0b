"""Stand-in for the board's ``machine``: pins that remember, and the registers of the converter."""

BRIGHT_PIN = 22
_CS, _RESULT, _FCS = 0, 4, 8
_ONCE, _FREE, _READY = 4, 8, 0x100

pins = {}
other_inputs = {}
"""What the inputs beside the light would convert to."""


class Pin:
    """A pin that keeps what it was told."""

    IN, OUT = 0, 1

    def __init__(self, number, mode=IN, value=None):
        self.number, self._value = number, value
        pins[number] = self

    def value(self, value):
        """Set the level."""
        self._value = value

    def level(self):
        """For the bench: the level."""
        return self._value


class I2C:
    """A bus with one chip, which the bench puts there as ``I2C.chip``; without one nothing answers."""

    chip = None

    def __init__(self, number, sda, scl, freq):
        if scl.number != sda.number + 1:
            raise ValueError("not the pins of a bus")

    def writeto_mem(self, address, register, data, addrsize=8):
        """Bytes to registers from this one on."""
        self._chip(address, addrsize).put(register, data)

    def readfrom_mem_into(self, address, register, data, addrsize=8):
        """Bytes from registers from this one on."""
        self._chip(address, addrsize).get(register, data)

    def _chip(self, address, addrsize):
        chip = I2C.chip
        if chip is None or address != 0x29 or addrsize != chip.bits or chip.dead:
            raise OSError(5)
        return chip


class Registers:
    """Words of the chip's memory; only the converter's do anything."""

    def __init__(self):
        self.words = {}
        self.base = None

    def place(self, base):
        """The bench says where this chip has its converter."""
        self.base = base

    def __getitem__(self, address):
        at = address - self.base
        if at == _CS:
            return self.words.get(address, 0) | _READY
        if at == _FCS:
            return self.words.get(address, 0) | 0x100  # the DMA has emptied it
        return self.words[address]

    def __setitem__(self, address, value):
        self.words[address] = value
        if address - self.base == _CS and value & _ONCE:
            self.words[self.base + _RESULT] = other_inputs[value >> 12 & 7]

    def free_running(self):
        """Whether conversions go to the ring now, and of which input."""
        return bool(self.words.get(self.base + _CS, 0) & _FREE) and bool(self.words.get(self.base + _FCS, 0) & 9 == 9)

    def clocks(self):
        """Clocks of one conversion, by the divider."""
        return max(96, (self.words[self.base + 0x10] >> 8) + 1)


mem32 = Registers()


def unique_id():
    """Eight bytes of this chip."""
    return bytes((0xE6, 0x61, 0x41, 0x03, 0xE7, 0x00, 0x2B, 0x2C))


def reset():
    """Start anew: the bench sees the end of the program."""
    raise SystemExit(3)
