"""A sensor on its own, without a set-up: what it sees, nothing logged.  For ``watch``, calibration and verification."""

from __future__ import annotations

import asyncio
import time
from typing import Any

from meterlink.errors import LinkError
from meterlink.library.store import Library
from meterlink.records import Calibration, Identity, new_id
from meterlink.sensor.find import finder
from meterlink.sensor.link.base import Link
from meterlink.sensor.link.reconnect import ReconnectingLink
from meterlink.sensor.link.recording import RecordingLink
from meterlink.sensor.link.registry import link_for, parse
from meterlink.sensor.measuring.calibrate import default_calibration
from meterlink.sensor.measuring.sensor import LOST, Sensor, SensorState
from meterlink.sensor.urls import adapter_of, decoder_for, dialect_of, moved_to, with_settings

KEEPS_NO_LINK_ALIVE = ("file", "sim")
"""Kinds of link that cannot come back by themselves."""
USUAL_CONSTANT = 330.0

__all__ = ["KEEPS_NO_LINK_ALIVE", "USUAL_CONSTANT", "Watching", "calibration_for", "decoder_for", "open_link"]


def open_link(url: str, sensor: list[Sensor], record_to: str | None = None) -> Link:
    """Return the link of a sensor's URL, kept alive where that is possible, written down where that is wanted.

    ``sensor`` holds the sensor once it is made: after a loss it is looked for by the identity that it has told.
    """

    url = with_settings(url)
    dialect = dialect_of(url)
    adapter = adapter_of(url) if dialect else ""

    async def find_again() -> str | None:
        if dialect:
            # It cannot be asked who it is, and nothing else is to be asked in its stead.
            return moved_to(url, adapter)
        identity = sensor[0].identity if sensor else None
        if identity is None or parse(url).scheme != "serial":
            return None
        found: str | None = await finder(identity.sensor_id)()
        return found

    link: Link = link_for(url)
    if parse(url).scheme not in KEEPS_NO_LINK_ALIVE:
        link = ReconnectingLink(url, link_for, find_again=find_again)
    if record_to:
        link = RecordingLink(link, record_to)
    return link


def calibration_for(library: Library, identity: Identity, now_s: float) -> Calibration:
    """Return the sensor's latest calibration, or store and return the assumed one for its kind."""
    known = library.calibrations(identity.sensor_id)
    if known:
        return known[-1]
    assumed = default_calibration(identity)._replace(id=new_id(), created_at_s=now_s)
    library.add_calibration(assumed)
    return assumed


class Watching:
    """One sensor, opened by URL; its callbacks are set on ``sensor`` before ``open``."""

    def __init__(self, library: Library, url: str, *, record_to: str | None = None, now_s: float | None = None) -> None:
        self.library = library
        self.url = url
        self._lost: asyncio.Future[Any] | None = None
        holder: list[Sensor] = []
        self.sensor = Sensor(
            open_link(url, holder, record_to),
            lambda identity: calibration_for(library, identity, time.time() if now_s is None else now_s),
            decoder=decoder_for(url),
        )
        holder.append(self.sensor)

    @property
    def calibration(self) -> Calibration | None:
        """The calibration in force, once the sensor has said who it is."""
        return self.sensor.calibration

    @property
    def constant(self) -> float:
        """C of the receptor."""
        return self.sensor.calibration.constant if self.sensor.calibration else USUAL_CONSTANT

    async def open(self) -> Identity:
        """Open and wait for the sensor's name.  Raises LinkError or SensorError."""
        self._lost = asyncio.get_running_loop().create_future()
        told = self.sensor.on_state

        def on_state(state: SensorState) -> None:
            if told is not None:
                told(state)
            final = parse(self.url).scheme in KEEPS_NO_LINK_ALIVE
            if state.name == LOST and final and self._lost is not None and not self._lost.done():
                self._lost.set_exception(state.error or LinkError(state.words, self.url))

        self.sensor.on_state = on_state
        await self.sensor.start()
        return await self.sensor.identified()

    async def until(self, over: asyncio.Event, seconds: float | None = None) -> None:
        """Return when ``over`` is set or the seconds have passed; raise when the sensor is gone for good."""
        assert self._lost is not None
        waiting: asyncio.Future[Any] = asyncio.ensure_future(over.wait())
        done, _ = await asyncio.wait({waiting, self._lost}, timeout=seconds, return_when=asyncio.FIRST_COMPLETED)
        waiting.cancel()
        if self._lost in done:
            self._lost.result()

    async def close(self) -> None:
        """Close the sensor."""
        await self.sensor.stop()
        if self._lost is not None and self._lost.done() and not self._lost.cancelled():
            self._lost.exception()
