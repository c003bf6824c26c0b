"""Stand-in for the board's ``rp2``: DMA channels that move 16-bit conversions, chain, and write a channel's registers."""

import uctypes

_REGISTERS = 0x50000000
_TRIG = 0x2C
channels = []


def _address(place):
    return place if isinstance(place, int) else uctypes.addressof(place)


class DMA:
    """One channel."""

    def __init__(self):
        self.channel = len(channels)
        channels.append(self)
        self.write = self.read = self.left = self.count = 0
        self.ctrl = {}
        self.running = False

    def pack_ctrl(self, size=2, inc_read=True, inc_write=True, treq_sel=63, chain_to=None):
        """The bench keeps the fields as they are."""
        return {
            "size": size, "inc_read": inc_read, "inc_write": inc_write, "treq": treq_sel,
            "chain_to": self.channel if chain_to is None else chain_to,
        }  # fmt: skip

    def config(self, read, write, count, ctrl):
        """Set the channel up; it does not run yet."""
        self.read, self.write = _address(read), _address(write)
        self.count = self.left = count
        self.ctrl = ctrl

    def active(self, value):
        """Start."""
        self.running = bool(value)
        self.left = self.count

    def row(self):
        """How many transfers there are to the end of this run."""
        return self.left

    def moved(self, count):
        """``count`` conversions were put to ``write``; at the end the next channel of the chain runs."""
        self.write += count << self.ctrl["size"]
        self.left -= count
        if self.left == 0:
            self.running = False
            if self.ctrl["chain_to"] != self.channel:
                channels[self.ctrl["chain_to"]].run_at_once()

    def run_at_once(self):
        """A channel without a request: one word to a register of another channel."""
        which, register = divmod(self.write - _REGISTERS, 0x40)
        if register != _TRIG or self.ctrl["treq"] != 63 or self.count != 1:
            raise ValueError("this channel starts no other one")
        # in halves: a whole word of 64 bits is an object on the heap here, on the chip it is a small number
        word = uctypes.struct(self.read, {"low": uctypes.UINT32 | 0, "high": uctypes.UINT32 | 4})
        channels[which].write = word.low | word.high << 32
        channels[which].active(1)
