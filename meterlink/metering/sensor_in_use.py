"""One sensor, opened by its URL: the one way in for metering, watching, calibration and the app.

The link is kept alive where that is possible and written down where that is wanted; the sensor's calibration comes from the
library; a loss that is final ends whoever waits.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from functools import partial
from typing import Any, TypeVar

from meterlink.calibration import ranger
from meterlink.calibration.chosen import choose
from meterlink.errors import LinkError, MeterlinkError, ShowingFailed, one_line
from meterlink.library.store import Library
from meterlink.photometry.exposure import CONSTANT_START_LX
from meterlink.records import Calibration, Identity, Measurement, new_id
from meterlink.sensor.dialects.dialect_file import complete_url
from meterlink.sensor.find import find_again
from meterlink.sensor.link.base import Link
from meterlink.sensor.link.reconnect import ReconnectingLink
from meterlink.sensor.link.recording import RecordingLink
from meterlink.sensor.link.registry import link_for, parse
from meterlink.sensor.measuring.sensor import Sensor
from meterlink.sensor.measuring.tended import SensorState, State
from meterlink.sensor.urls import adapter_of, decoder_for, dialect_of, moved_to
from meterlink.words.told import told

NO_RECONNECTING = ("file", "sim")
"""Kinds of link that cannot come back by themselves."""

Told = TypeVar("Told")
MakeLink = Callable[[str], Link]


def calibration_for(library: Library, identity: Identity, now_s: float, receptor: str = "") -> Calibration:
    """Return the sensor's latest calibration with this receptor, or store and return what is assumed (``choose``)."""
    chosen = choose(library.calibrations(identity.sensor_id), identity, receptor)
    if not chosen.id:
        chosen = chosen._replace(id=new_id(), created_at_s=now_s)
        library.add_calibration(chosen)
    return chosen


class SensorInUse:
    """A sensor and what becomes of it; ``await open()``, ``await identified()``, ``await close()``."""

    def __init__(
        self,
        library: Library,
        url: str,
        *,
        on_measurement: Callable[[Measurement], None] | None = None,
        on_level: Callable[[Measurement], None] | None = None,
        on_state: Callable[[SensorState], None] | None = None,
        record_to: str | None = None,
        link: Link | None = None,
        make_link: MakeLink | None = None,
        patient: bool = False,
        receptor: str = "",
        now: Callable[[], float] = time.time,
    ) -> None:
        """``patient`` waits for a sensor that is not there yet; ``link`` is used instead of the URL's own.  ``receptor`` is what
        is mounted, empty when it is not known: it chooses the calibration.

        Raises UsageError for a URL that cannot be.
        """
        self.library = library
        self.url = url
        self.on_state = on_state
        self.receptor = receptor
        self.failed: MeterlinkError | None = None
        """What ended it."""
        self._now = now
        self._make_link = make_link or link_for
        self._changed = asyncio.Event()
        self._comes_back = parse(url).scheme not in NO_RECONNECTING
        self.sensor = Sensor(
            link or self._open_link(complete_url(url), record_to, patient),
            self._meet,
            on_measurement,
            self._take_state,
            decoder=decoder_for(complete_url(url)),
            on_level=None if on_level is None else lambda level: self.tell(on_level, level),
        )
        self.sensor.deaf = parse(url).scheme == "file"

    def _meet(self, identity: Identity) -> Calibration:
        """Find what is known of a sensor that has said who it is."""
        if identity.range_finder:
            self.sensor.intake.ranger.scale = ranger.from_json(self.library.recall(ranger.key(identity.sensor_id)))
        return calibration_for(self.library, identity, self._now(), self.receptor)

    def _open_link(self, url: str, record_to: str | None, patient: bool) -> Link:
        link: Link
        if self._comes_back:
            adapter = adapter_of(url) if dialect_of(url) else ""
            again = partial(self._find_again, url, adapter)
            link = ReconnectingLink(url, self._make_link, find_again=again, patient=patient)
        else:
            link = self._make_link(url)
        return RecordingLink(link, record_to, on_trouble=self._recording_stopped) if record_to else link

    def _recording_stopped(self, why: str) -> None:
        self._take_state(self.sensor.state._replace(said=told("note", note=why)))

    async def _find_again(self, url: str, adapter: str) -> str | None:
        """Look for the sensor where it is now: by its identity, or by its adapter when it cannot tell who it is."""
        if dialect_of(url):
            return moved_to(url, adapter)
        identity = self.sensor.identity
        if identity is None or parse(url).scheme != "serial":
            return None
        return await find_again(identity.sensor_id, self._make_link)

    @property
    def calibration(self) -> Calibration | None:
        """The calibration in force, once the sensor has said who it is."""
        return self.sensor.calibration

    @property
    def constant(self) -> float:
        """C of the receptor."""
        return self.sensor.calibration.constant if self.sensor.calibration else CONSTANT_START_LX["dome"]

    @property
    def bare_link(self) -> Any:
        """The link itself, without what records it or keeps it alive."""
        link: Any = self.sensor.link
        while (inner := getattr(link, "link", None)) is not None:
            link = inner
        return link

    async def open(self) -> None:
        """Open the sensor.  Raises LinkError when it cannot be opened at all."""
        await self.sensor.start()

    async def identified(self) -> Identity:
        """Wait for the sensor's name.  Raises LinkError or SensorError."""
        return await self.sensor.identified()

    async def until(self, over: asyncio.Event, seconds: float | None = None) -> None:
        """Return when ``over`` is set or the seconds have passed; raise when the sensor is gone for good."""
        waiting = [asyncio.ensure_future(over.wait()), asyncio.ensure_future(self._failure())]
        try:
            await asyncio.wait(waiting, timeout=seconds, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in waiting:
                task.cancel()
            await asyncio.gather(*waiting, return_exceptions=True)
        self._raise_failure()

    async def _failure(self) -> None:
        while self.failed is None:
            self._changed.clear()
            await self._changed.wait()

    def _raise_failure(self) -> None:
        if self.failed is not None:
            raise self.failed

    async def close(self) -> None:
        """Close the sensor; nothing is told any more."""
        self.on_state = self.sensor.on_measurement = self.sensor.on_level = None
        await self.sensor.stop()

    def fail(self, error: MeterlinkError) -> None:
        """End whoever waits, with this error."""
        self.failed = self.failed or error
        self._changed.set()

    def _take_state(self, state: SensorState) -> None:
        if state.name == State.READY and isinstance(self.failed, LinkError):
            self.failed = None
        if self.on_state is not None:
            self.tell(self.on_state, state)
        # A link that keeps itself alive says "lost" and comes back; any other is gone for good.
        if state.name == State.LOST and not self._comes_back:
            self._gone(state.error or LinkError("{what}", self.url, what=state.said))

    def _gone(self, error: MeterlinkError) -> None:
        self.fail(error)

    def tell(self, told: Callable[[Told], None], what: Told) -> None:
        """Call back; whatever is raised there (a closed pipe, a full disk) ends the work with a line instead of a hang."""
        try:
            told(what)
        except MeterlinkError as error:
            self.fail(error)
        except Exception as error:  # what shows is not ours: terminal, pipe, window
            failed = ShowingFailed(
                "what came could not be shown ({why}): everything that was accepted is in the library", why=one_line(error)
            )
            failed.__cause__ = error
            self.fail(failed)


