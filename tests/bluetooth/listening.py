"""Collect what a link says, and wait for it without polling."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from typing import Any

from meterlink.errors import LinkError
from meterlink.records import Sample, Steady
from meterlink.sensor.dialects.base import Decoder
from meterlink.sensor.dialects.dialect_file import make_decoder


class Listener:
    """Callbacks of one link, its decoder, and what came out."""

    def __init__(self, decoder: Decoder | None = None) -> None:
        self.decoder = decoder or make_decoder("bluetooth")
        self.chunks: list[tuple[str, bytes]] = []
        self.samples: list[Sample] = []
        self.lost: list[LinkError] = []
        self._changed = asyncio.Event()

    def on_bytes(self, data: bytes, at_s: float, channel: str) -> None:
        """Take bytes."""
        self.chunks.append((channel, data))
        self.samples += self.decoder.feed(data, at_s, channel)
        self._changed.set()

    def on_lost(self, error: LinkError) -> None:
        """Take the loss."""
        self.lost.append(error)
        self._changed.set()

    @property
    def lux(self) -> list[float | None]:
        """Illuminances so far."""
        return [sample.illuminance_lx for sample in self.samples if isinstance(sample, Steady)]

    @property
    def stream(self) -> bytes:
        """All bytes of the stream so far."""
        return b"".join(data for channel, data in self.chunks if not channel)

    async def until(self, done: Callable[[], bool], seconds: float = 10.0) -> None:
        """Wait until ``done()``; fail when it does not come."""
        async with asyncio.timeout(seconds):
            while not done():
                self._changed.clear()
                await self._changed.wait()


def run(work: Coroutine[Any, Any, None]) -> None:
    """Run a test's coroutine in a loop of its own."""
    asyncio.run(work)
