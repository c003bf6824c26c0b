"""The converter runs by itself and fills a ring by DMA; here the registers, and where in the ring it is.

Register facts of the two chips of this class (RP2040, RP2350), from their data sheets, from memory; the layout of the
registers, the aliases of the DMA channel and DREQ 36 were seen again in published sources.

    ADC   CS 0x00: bit 0 on, 1 temperature sensor on, 2 one conversion, 3 free running, 8 ready, 12.. input
          RESULT 0x04    FCS 0x08: bit 0 FIFO on, 3 DMA requests, 10 and 11 clear errors, 24.. level of a request
          FIFO 0x0C      DIV 0x10: bits 8.. (clocks of a conversion - 1); 0 is 96 clocks, back to back
          48 MHz, 96 clocks: 500,000 conversions a second at most
    DMA   channel n at 0x50000000 + 0x40 n; +0x2C WRITE_ADDR that also starts the channel again

One channel fills the ring once and then starts a second one, whose only transfer writes the ring's beginning to the
first one's address, which starts it again: the ring needs no alignment and never ends, and the FIFO bridges the moment.
"""

import sys
import time
from array import array

import rp2
from machine import Pin, mem32
from memory import RING, ring
from micropython import const
from uctypes import addressof

CLOCK_HZ = const(48000000)
CLOCKS_LEAST = const(96)
_DMA = const(0x50000000)
_CHANNEL = const(0x40)
_WRITE_ADDR_TRIG = const(0x2C)
_ON = const(1)
_TEMPERATURE_ON = const(2)
_ONCE = const(4)
_FREE = const(8)
_READY = const(0x100)
_FIFO_ON = const(1 | 8 | 1 << 10 | 1 << 11 | 1 << 24)
_FIFO_EMPTY = const(0x100)
TEMPERATURE = const(4)
"""Input of the chip's own temperature sensor."""
_FIRST_PIN = const(26)
_MEANS = const(16)


def chip_registers(machine_name):
    """Return the converter's address and its DMA request for this chip."""
    return (0x400A0000, 48) if "RP2350" in machine_name else (0x4004C000, 36)


def interval_ns_of(rate_khz):
    """Return the interval that the converter really keeps, in ns: whole clocks of 48 MHz, at least 96 of them."""
    clocks = max(CLOCKS_LEAST, (CLOCK_HZ // 1000 + rate_khz // 2) // rate_khz)
    return (clocks * 1000 + 24) // 48


class Converter:
    """Light of one input (0 to 3, pins GP26 to GP29) in ``ring``, ``rate_khz`` thousand conversions a second."""

    def __init__(self, rate_khz, source=0, machine_name=None):
        self.interval_ns = interval_ns_of(rate_khz)
        self.ring = ring
        self.overruns = 0
        base, request = chip_registers(machine_name or sys.implementation._machine)
        self._cs, self._result, self._fcs, self._fifo, self._div = (base + i for i in (0, 4, 8, 0xC, 0x10))
        self._source = source << 12
        Pin(_FIRST_PIN + source, Pin.IN)  # no pull: it would load the amplifier
        mem32[self._cs] = _ON | _TEMPERATURE_ON
        clocks = self.interval_ns * 48 // 1000
        mem32[self._div] = (clocks - 1) << 8 if clocks > CLOCKS_LEAST else 0
        self._begin = addressof(self.ring)
        self._again_from = array("L", [self._begin])
        self._make_channels(request)
        self._started = False
        self._last = 0
        self._last_us = 0
        # Later than this, conversions may have been overwritten; the rest is for what a capture wants from before.
        self._late_us = (RING - RING // 8) * self.interval_ns // 1000

    def _make_channels(self, request):
        fill, again = rp2.DMA(), rp2.DMA()
        self._fill, self._again = fill, again
        fill.config(
            read=self._fifo,
            write=self.ring,
            count=RING,
            ctrl=fill.pack_ctrl(size=1, inc_read=False, inc_write=True, treq_sel=request, chain_to=again.channel),
        )
        again.config(
            read=self._again_from,
            write=_DMA + _CHANNEL * fill.channel + _WRITE_ADDR_TRIG,
            count=1,
            ctrl=again.pack_ctrl(size=2, inc_read=False, inc_write=False),
        )

    def start(self, now_us):
        """Begin to fill the ring."""
        self._started = True
        self._fill.active(1)
        self._run(now_us)

    def _run(self, now_us):
        mem32[self._fcs] = _FIFO_ON
        mem32[self._cs] = _ON | _TEMPERATURE_ON | _FREE | self._source
        self._last = self._place()
        self._last_us = now_us

    def _pause(self):
        mem32[self._cs] = _ON | _TEMPERATURE_ON
        while not mem32[self._cs] & _READY:
            pass
        # The channel takes what is left; then the FIFO is closed, so that what is measured now does not reach the ring.
        while not mem32[self._fcs] & _FIFO_EMPTY:
            pass
        mem32[self._fcs] = 0

    def _place(self):
        place = (self._fill.write - self._begin) >> 1
        # Between the last conversion of the ring and the start anew the address stands behind the ring.
        return place if place < RING else 0

    def advance(self, capture, now_us):
        """Let the capture see what has come since the last call; false if that was too long ago."""
        place = self._place()
        count = place - self._last
        if count < 0:
            count += RING
        late = time.ticks_diff(now_us, self._last_us) > self._late_us
        self._last_us = now_us
        if late:
            self.overruns = (self.overruns + 1) & 0xFFFF
            self._last = place
            capture.overrun()
            return False
        if count:
            capture.take(self.ring, self._last, count)
            self._last = place
        return True

    def measure(self, inputs, out):
        """Convert other inputs in between: the mean of 16 codes x 16 of each goes to ``out``.

        Takes some 0.1 ms an input; the capture must be armed anew afterwards.
        """
        self._pause()
        for i in range(len(inputs)):
            select = _ON | _TEMPERATURE_ON | inputs[i] << 12
            total = 0
            # The first conversion after a switch of the input still holds charge of the old one.
            for n in range(-1, _MEANS):
                mem32[self._cs] = select | _ONCE
                while not mem32[self._cs] & _READY:
                    pass
                if n >= 0:
                    total += mem32[self._result]
            out[i] = total
        if self._started:
            self._run(time.ticks_us())
