"""A link that misbehaves as links do, by a seed: the same seed and the same calls give the same faults.

Wrap any link in it: bytes are flipped, dropped, doubled, held back, cut anew, mixed with garbage, in both directions.
"""

from __future__ import annotations

import random
from collections import Counter

from meterlink.errors import LinkBusy, LinkError
from meterlink.sensor.link.base import Link, OnBytes, OnLost

FLIP, DROP, CUT, DOUBLE, REPEAT, GARBAGE, HOLD = "flip", "drop", "cut", "double", "repeat", "garbage", "hold"
KINDS = (FLIP, DROP, CUT, DOUBLE, REPEAT, GARBAGE, HOLD)
REPEATED_BYTES = 4000
"""``repeat`` delivers this much of what came before once more: whole frames, some seconds old."""
MAX_PIECE = 90
"""What passes is cut into random pieces up to this length, fault or not: no reader may rely on whole frames."""


class FaultyLink:
    """``rate`` is the share of deliveries that are damaged; ``counts`` says what was done so far."""

    def __init__(self, link: Link, *, seed: int = 1, rate: float = 0.05) -> None:
        self.link = link
        self.rate = rate
        self.counts: Counter[str] = Counter()
        self.busy_openings = 0
        """So many times ``open`` finds the sensor held by another program."""
        self._random = random.Random(seed)
        self._held = b""
        self._recent = b""
        self._on_bytes: OnBytes | None = None

    @property
    def url(self) -> str:
        """The inner link's URL."""
        return self.link.url

    async def open(self, on_bytes: OnBytes, on_lost: OnLost) -> None:
        """Open the inner link, or find it busy."""
        if self.busy_openings:
            self.busy_openings -= 1
            self.counts["busy"] += 1
            raise LinkBusy("the sensor is held by another program: close it", self.url)
        # What came over an earlier opening is thrown away by every system.
        self._held = self._recent = b""
        self._on_bytes = on_bytes

        def lost(error: LinkError) -> None:
            self.counts["lost"] += 1
            self._on_bytes = None
            on_lost(error)

        await self.link.open(self._arrived, lost)

    async def write(self, data: bytes) -> None:
        """Send ``data``, perhaps damaged."""
        if self._random.random() < self.rate:
            self.counts["command damaged"] += 1
            data = self._flipped(data)
        await self.link.write(data)

    async def close(self) -> None:
        """Close the inner link."""
        self._on_bytes = None
        await self.link.close()

    def _arrived(self, data: bytes, at_s: float, channel: str) -> None:
        data, self._held = self._held + data, b""
        if self._random.random() < self.rate:
            kind = self._random.choice(KINDS)
            self.counts[kind] += 1
            data = self._damaged(data, kind)
        self._recent = (self._recent + data)[-REPEATED_BYTES:]
        start = 0
        while start < len(data):
            end = start + self._random.randint(1, MAX_PIECE)
            if self._on_bytes is not None:
                self._on_bytes(data[start:end], at_s, channel)
            start = end

    def _damaged(self, data: bytes, kind: str) -> bytes:
        if kind == FLIP:
            return self._flipped(data)
        if kind == DROP:
            return b""
        if kind == CUT:
            a, b = sorted(self._random.choices(range(len(data) + 1), k=2))
            return data[:a] + data[b:]
        if kind == DOUBLE:
            return data + data
        if kind == REPEAT:
            return data + self._recent
        if kind == GARBAGE:
            at = self._random.randrange(len(data) + 1)
            return data[:at] + self._random.randbytes(self._random.randint(1, 300)) + data[at:]
        self._held = data
        return b""

    def _flipped(self, data: bytes) -> bytes:
        changed = bytearray(data)
        for _ in range(self._random.randint(1, 3)):
            changed[self._random.randrange(len(changed))] ^= 1 << self._random.randrange(8)
        return bytes(changed)
