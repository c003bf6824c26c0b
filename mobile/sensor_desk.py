"""The app's sensor: finds them, keeps one connected, shows how it is.  No kivy; runs on the event loop.

``found`` and ``status`` are replaced whole whenever they change and ``on_change`` is called; both may be shown as they are.
The work is the one driver's (``meterlink.metering.driver``): a pop's outcome goes to ``on_outcome``, steady light to ``on_level``,
on the loop's thread.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Awaitable, Callable
from typing import Any, NamedTuple

from meterlink.calibration.chosen import in_use, reminders
from meterlink.errors import MeterlinkError
from meterlink.library.store import Library
from meterlink.metering.driver import Metering
from meterlink.metering.outcome import Outcome
from meterlink.metering.session import Session
from meterlink.records import Calibration, Identity, Measurement
from meterlink.sensor.find import BUSY, REFUSED, SENSOR, find
from meterlink.sensor.link.base import Link
from meterlink.sensor.link.ble_air import Seen, scan
from meterlink.sensor.link.registry import link_for, parse
from meterlink.sensor.measuring.sensor import Sensor
from meterlink.sensor.measuring.tended import SensorState, State
from mobile.permissions import ask
from mobile.texts import t

SIMULATED_URL = "sim:?every=0"
KNOWN = "app:sensors"
MOST_KNOWN = 8
SCAN_S = 6.0


class Found(NamedTuple):
    """A sensor that could be connected."""

    url: str
    name: str
    what: str
    """What it is, in words."""
    signal_dbm: int | None = None
    known: bool = False
    """Was connected before: shown at once, before anything is searched."""
    simulated: bool = False


class Status(NamedTuple):
    """The sensor in use."""

    url: str = ""
    state: str = "none"
    """``none``, ``connecting`` or a ``State`` of the sensor."""
    words: str = ""
    name: str = ""
    simulated: bool = False
    flash: bool = True
    battery: float | None = None
    """0 to 1."""
    calibrated_at_s: float | None = None
    calibration: str = ""
    """How it was calibrated: ``assumed`` is not at all."""
    calibration_words: tuple[str, ...] = ()
    """Which one is used, and what is to be known of it."""
    damaged: int = 0
    looking: bool = False
    """A search is under way."""
    search_note: str = ""
    """Why a search found less than it might: no Bluetooth, no permission ..."""

    @property
    def ready(self) -> bool:
        """Whether a pop would be seen now."""
        return self.state == State.READY


Finder = Callable[[Callable[[Found], None]], Awaitable[str]]
"""Searches, tells of each sensor as it is found, returns a note (empty when all went well)."""


class SensorDesk:
    """Finds sensors and keeps one at work for the session in use."""

    def __init__(
        self,
        library: Library,
        *,
        session: Callable[[], Session | None] = lambda: None,
        on_outcome: Callable[[Outcome], None],
        on_level: Callable[[Measurement], None],
        on_change: Callable[[], None],
        make_link: Callable[[str], Link] = link_for,
        finders: tuple[Finder, ...] | None = None,
        now: Callable[[], float] = time.time,
        **driving: Any,
    ) -> None:
        """``driving`` are the driver's own options (``take``, ``worker``, ``spawn``, ``on_error``, ``on_unseen``)."""
        self.library = library
        self.status = Status()
        self.found: tuple[Found, ...] = self._known()
        self.metering: Metering | None = None
        self._session = session
        self._on_level, self._on_change = on_level, on_change
        self._driving = {**driving, "on_outcome": on_outcome, "make_link": make_link, "now": now, "library": library}
        self._finders = finders if finders is not None else (find_ports, find_bluetooth)
        self._search: asyncio.Task[None] | None = None

    # -- finding ------------------------------------------------------------------------------------------------

    def _known(self) -> tuple[Found, ...]:
        kept = self.library.recall(KNOWN)
        rows = kept if isinstance(kept, list) else []
        return tuple(
            Found(row[0], row[1], row[2], known=True)
            for row in rows[:MOST_KNOWN]
            if isinstance(row, list) and len(row) == 3 and all(isinstance(part, str) for part in row)
        )

    def look_for(self) -> None:
        """Search in the background; a search under way goes on."""
        if self._search is None or self._search.done():
            self._search = asyncio.get_running_loop().create_task(self._look())

    async def _look(self) -> None:
        self._set(looking=True, search_note="")
        notes = await asyncio.gather(*(self._run(finder) for finder in self._finders))
        self._set(looking=False, search_note=" ".join(filter(None, notes)))

    async def _run(self, finder: Finder) -> str:
        try:
            return await finder(self._add)
        except MeterlinkError as error:
            return str(error)

    def _add(self, one: Found) -> None:
        others = [f for f in self.found if f.url != one.url]
        known = any(f.url == one.url and f.known for f in self.found)
        self.found = (*others, one._replace(known=known or one.known))
        self._on_change()

    # -- connecting ---------------------------------------------------------------------------------------------

    async def connect(self, url: str) -> None:
        """Use this sensor from now on; the one before is let go.  Its state is told through ``status``.

        Raises UsageError for a URL that cannot be; a sensor that is not there now is waited for.
        """
        scheme = parse(url).scheme
        await self.disconnect()
        if scheme == "ble":
            await ask()
        self._set(
            url=url, state="connecting", words=t("sensors.connecting"), simulated=scheme == "sim", name="", battery=None
        )
        # Patient: a sensor that is not there yet is waited for while everything else goes on.
        self.metering = Metering(
            self._session(), url, patient=True, on_calibration=self._on_calibration, on_state=self._on_state,
            on_level=self._level, **self._driving,
        )
        try:
            await self.metering.open()
        except MeterlinkError as error:
            self._set(state=State.LOST, words=str(error))

    async def disconnect(self) -> None:
        """Let the sensor go."""
        metering, self.metering = self.metering, None
        if metering is not None:
            await metering.close()
        self._set(
            state="none", words="", url="", name="", simulated=False, battery=None, calibrated_at_s=None, calibration="",
            calibration_words=(),
        )

    async def close(self) -> None:
        """End everything."""
        if self._search is not None:
            self._search.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._search
        await self.disconnect()

    @property
    def sensor(self) -> Sensor | None:
        """The sensor that is connected, or waited for."""
        return self.metering.sensor if self.metering is not None else None

    def _on_state(self, state: SensorState) -> None:
        changes: dict[str, Any] = {"state": state.name, "words": state.words}
        if state.identity is not None:
            changes |= {"name": state.identity.name, "flash": state.identity.flash}
            calibration = self.sensor.calibration if self.sensor else None
            if calibration is not None:
                changes |= self._calibrated(calibration, state.identity)
        if state.name == State.READY:
            self._keep(state.identity)
        self._set(**changes)

    def _on_calibration(self, used: Calibration) -> None:
        self._set(**self._calibrated(used, self.sensor.identity if self.sensor else None))

    def _calibrated(self, used: Calibration, identity: Identity | None) -> dict[str, Any]:
        """What is shown of the calibration in use; a simulated sensor is as designed and needs no reminder."""
        known = () if identity is None or self.status.simulated else reminders(used, identity, time.time(), angle=False)
        return {
            "calibrated_at_s": used.created_at_s, "calibration": used.method,
            "calibration_words": tuple(map(str, (in_use(used), *known))),
        }  # fmt: skip

    def _keep(self, identity: Identity | None) -> None:
        """Remember the sensor so that it is offered at once the next time."""
        url = self.status.url
        if self.status.simulated or identity is None:
            return
        rows = [[url, identity.name, self._what(url)]]
        rows += [[f.url, f.name, f.what] for f in self.found if f.known and f.url != url]
        self.library.remember(KNOWN, rows[:MOST_KNOWN])
        self._add(Found(url, identity.name, self._what(url), known=True))

    def _what(self, url: str) -> str:
        before = next((f.what for f in self.found if f.url == url), "")
        return before or url

    def _level(self, level: Measurement) -> None:
        sensor = self.sensor
        if sensor is not None:
            charge = sensor.intake.battery
            battery = charge.fraction if charge else None
            if (battery, sensor.damaged_frames) != (self.status.battery, self.status.damaged):
                self._set(battery=battery, damaged=sensor.damaged_frames)
        self._on_level(level)

    def _set(self, **changes: Any) -> None:
        status = self.status._replace(**changes)
        if status != self.status:
            self.status = status
            self._on_change()

    # -- wishes -------------------------------------------------------------------------------------------------

    async def prepare(self) -> None:
        """Choose range and sampling for what is waited for now; call it after every change of the walk."""
        if self.metering is not None and self.status.ready:
            self.metering.session = self._session()
            await self.metering.prepare()

    async def listen_closer(self) -> None:
        """Listen for a weaker pop than the one that is expected."""
        if self.metering is not None and self.status.ready:
            await self.metering.listen_closer()

    async def take_steady(self) -> Outcome:
        """Take a second's mean of steady light for what is waited for.  Raises SensorError when none comes."""
        if self.metering is None:
            raise MeterlinkError(t("sensors.none_connected"))
        self.metering.session = self._session()
        return await self.metering.take_steady()

    @property
    def simulator(self) -> Any:
        """The simulated link, when that is what is connected; None otherwise."""
        link = self.metering.bare_link if self.metering is not None and self.status.simulated else None
        return link if hasattr(link, "pop") else None


# -- searching ----------------------------------------------------------------------------------------------------


async def find_ports(found: Callable[[Found], None]) -> str:
    """Ask the serial ports that look like a board who is there; ports that somebody else holds are left alone."""
    notes = []
    async with contextlib.aclosing(find()) as finding:
        async for one in finding:
            if one.state == SENSOR:
                found(Found(one.url, one.name, t("sensors.on_port", port=one.url.removeprefix("serial:"))))
            elif one.state in (BUSY, REFUSED):
                notes.append(one.words)
    return " ".join(notes)


async def find_bluetooth(found: Callable[[Found], None]) -> str:
    """Listen for Bluetooth sensors."""
    await ask()

    def seen(one: Seen) -> None:
        found(Found(one.url, one.name or one.address, one.what, one.signal_dbm))

    await scan(SCAN_S, seen)
    return ""
