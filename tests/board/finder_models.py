"""Register models of two range finders, for MicroPython: what the chips do by their data sheets and tables, from memory.

Each knows when it was set up as it must be: a measurement that is begun before that gives nothing.
"""

SHORT_PLACES = (("signal", 0x1A), ("ambient", 0x1C), ("distance", 0x1E))
LONG_PLACES = (("ambient", 0x90), ("sigma", 0x92), ("distance", 0x96), ("signal", 0x98))


class _Model:
    dead = False

    def __init__(self, results):
        self.memory = bytearray(0x200)
        self.results, self.begun = results, 0
        self.answers = True

    def put(self, register, data):
        """Write."""
        for i in range(len(data)):
            self.memory[register + i] = data[i]
            self.wrote(register + i, data[i])

    def get(self, register, data):
        """Read."""
        for i in range(len(data)):
            data[i] = self.value(register + i)

    def value(self, register):
        """One register."""
        return self.memory[register]

    def give(self, places):
        """Figures of the next measurement; the last line of ``results`` again and again, its distance one more each time."""
        line = self.results[min(self.begun, len(self.results) - 1)]
        more = max(0, self.begun - len(self.results) + 1)
        self.begun += 1
        self.memory[self.code_place] = line["code"] << 3 if self.bits == 8 else line["code"] | 0x20
        for name, place in places:
            value = line.get(name, 0) + (more if name == "distance" else 0)
            self.memory[place] = value >> 8
            self.memory[place + 1] = value & 0xFF


class ShortModel(_Model):
    """Model 0xEE; the reference cells of one that has 5 of the second kind."""

    bits = 8
    code_place = 0x14

    def __init__(self, results):
        super().__init__(results)
        self.memory[0xC0], self.memory[0x91], self.memory[0x92] = 0xEE, 0x3C, 0x85
        for i in range(6):
            self.memory[0xB0 + i] = 0xFF
        self.page = self.over = 0
        self.stop = self.adjusted = 0
        self.adjusting = False

    def value(self, register):
        """Its memory answers a while after it was asked; an interrupt stands until it is cleared."""
        if register == 0x83 and self.page == 7:
            return 0x10
        if register == 0x13:
            return 4 if self.over and self.answers else 0
        return self.memory[register]

    def wrote(self, register, value):
        """Pages, adjustments, starts."""
        if register == 0xFF:
            self.page = value
        elif register == 0x91:
            self.stop = value
        elif register == 0x0B:
            self.over = 0
        elif register == 0x00 and self.page == 0 and value in (0x01, 0x41):
            self.over = 1
            if self.memory[0x01] in (0x01, 0x02):
                self.adjusted |= self.memory[0x01]
            elif self.memory[0x80] == 0 and self.adjusted == 3 and self.memory[0x01] == 0xE8 and self.stop == 0x3C:
                self.give(SHORT_PLACES)

    def cells(self):
        """Reference cells in use."""
        return [i for i in range(48) if self.memory[0xB0 + (i >> 3)] >> (i & 7) & 1]


class LongModel(_Model):
    """Model 0xEACC."""

    bits = 16
    code_place = 0x89

    def __init__(self, results):
        super().__init__(results)
        self.memory[0xE5], self.memory[0x10F], self.memory[0x110] = 3, 0xEA, 0xCC
        self.over = 0
        self.adjusted = False

    def value(self, register):
        """Whether a measurement is over, on the level that 0x30 asks for."""
        if register == 0x31:
            return (self.over if self.answers else 0) ^ (self.memory[0x30] >> 4 & 1)
        return self.memory[register]

    def wrote(self, register, value):
        """Starts and clears."""
        if register == 0x86 and value == 1:
            self.over = 0
        elif register == 0x87 and value == 0x40 and self.memory[0x46] == 0x20:
            self.over, self.adjusted = 1, True
        elif register == 0x87 and value == 0x10:
            self.over = 1
            # In short mode, with its budget.
            if self.adjusted and self.memory[0x60] == 7 and self.memory[0x63] == 5 and self.memory[0x5F] == 0xD6:
                self.give(LONG_PLACES)
