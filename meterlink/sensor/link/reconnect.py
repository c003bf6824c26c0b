"""One link that keeps itself alive: it connects, notices the loss, waits a little longer each time, connects again.

The policy is here and nowhere else.  It works with any kind of link, because all that it is given is a way to make
one from a URL.  A sensor that comes back under another name (``ttyACM1`` instead of ``ttyACM0``, another place on the
bus) is looked for by ``find_again``, which knows it by its identity.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

from meterlink.errors import LinkError, LinkLost, LinkNotFound, MeterlinkError, RecordingEnded
from meterlink.sensor.link.base import CONNECTED, CONNECTING, STOPPED, WAITING, Link, LinkState, OnBytes, OnLinkState, OnLost
from meterlink.words.language import say

FIRST_WAIT_S = 0.25
"""A cable that was only touched is back at once."""
WAIT_FACTOR = 2.0
LONGEST_WAIT_S = 5.0
"""She is on set and waits: longer than this feels broken."""
ATTEMPT_LIMIT_S = 30.0
"""An attempt that takes longer hangs."""
STABLE_S = 10.0
"""A link that held so long begins its waiting times anew; one that flaps does not."""

Sleep = Callable[[float], Awaitable[None]]
MakeLink = Callable[[str], Link]
FindAgain = Callable[[], Awaitable[str | None]]


class ReconnectingLink:
    """A ``Link`` that never gives up until it is closed, except where trying again cannot help.

    ``open`` returns after the first connection; with ``patient`` it returns at once and lets the states tell.  While
    there is no connection ``write`` raises ``LinkLost``.  ``on_lost`` is called only for a loss that is final.
    """

    def __init__(
        self,
        url: str,
        make_link: MakeLink,
        *,
        find_again: FindAgain | None = None,
        patient: bool = False,
        clock: Callable[[], float] | None = None,
        sleep: Sleep = asyncio.sleep,
    ) -> None:
        self.url = url
        self.on_state: OnLinkState | None = None
        """To be set before ``open``."""
        self._make_link = make_link
        self._find_again = find_again
        self._patient = patient
        self._clock = clock
        self._sleep = sleep
        self._link: Link | None = None
        self._lost: asyncio.Future[LinkError] | None = None
        self._task: asyncio.Task[None] | None = None
        self._first: asyncio.Future[None] | None = None
        self.state = LinkState(STOPPED, "not connected yet", url)
        self._told: LinkState | None = None
        self._on_bytes: OnBytes = lambda *_: None
        self._on_lost: OnLost = lambda _: None

    async def open(self, on_bytes: OnBytes, on_lost: OnLost) -> None:
        """Start keeping the link.  Without ``patient``, the first failure is raised and nothing is kept."""
        await self.close()
        self._on_bytes, self._on_lost = on_bytes, on_lost
        loop = asyncio.get_running_loop()
        self._first = loop.create_future()
        self._task = loop.create_task(self._keep(self._first))
        if self._patient:
            self._first.add_done_callback(_taken)
            return
        try:
            await asyncio.shield(self._first)
        except BaseException:
            await self.close()
            raise

    async def write(self, data: bytes) -> None:
        """Send ``data`` over the link of the moment."""
        link = self._link
        if link is None:
            raise LinkLost("the sensor is not connected just now: wait until it is back", self.url)
        await link.write(data)

    async def close(self) -> None:
        """Stop keeping it."""
        task, self._task = self._task, None
        if task is None:
            return
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        await self._drop()
        self._tell(STOPPED, "disconnected")

    async def _keep(self, first: asyncio.Future[None]) -> None:
        wait_s = FIRST_WAIT_S
        while True:
            error: MeterlinkError
            try:
                since = await self._connect(first)
                assert self._lost is not None
                error = await self._lost
                if self._now() - since >= STABLE_S:
                    wait_s = FIRST_WAIT_S
            except MeterlinkError as failed:
                error = failed
                if not first.done() and not self._patient:
                    first.set_exception(failed)
                    return
            await self._drop()
            if isinstance(error, RecordingEnded) or not isinstance(error, LinkError):
                self._finish(error)
                return
            self._tell(WAITING, say("{error}; trying again in {wait_s:.2g} s", error=error, wait_s=wait_s), error)
            await self._sleep(wait_s)
            wait_s = min(wait_s * WAIT_FACTOR, LONGEST_WAIT_S)
            if isinstance(error, (LinkNotFound, LinkLost)):
                await self._look_elsewhere()

    async def _connect(self, first: asyncio.Future[None]) -> float:
        self._tell(CONNECTING, say("connecting to {url}", url=self.url))
        link = self._make_link(self.url)
        lost: asyncio.Future[LinkError] = asyncio.get_running_loop().create_future()
        # A link that comes late with bytes or its loss must not be taken for the one that followed it.
        self._link, self._lost = link, lost

        def on_bytes(data: bytes, at_s: float, channel: str) -> None:
            if self._link is link:
                self._on_bytes(data, at_s, channel)

        def on_lost(error: LinkError) -> None:
            if not lost.done():
                lost.set_result(error)

        try:
            await asyncio.wait_for(link.open(on_bytes, on_lost), ATTEMPT_LIMIT_S)
        except TimeoutError:
            raise LinkError("{url} does not answer: switch the sensor off and on", url=self.url) from None
        self._tell(CONNECTED, say("connected to {url}", url=self.url))
        if not first.done():
            first.set_result(None)
        return self._now()

    async def _drop(self) -> None:
        """Close the old link before a new one is made: some systems keep it half open and deliver everything twice."""
        link, self._link = self._link, None
        if link is not None:
            try:
                await link.close()
            except LinkError:
                pass

    async def _look_elsewhere(self) -> None:
        if self._find_again is None:
            return
        try:
            found = await self._find_again()
        except LinkError:
            return
        if found is not None:
            self.url = found

    def _finish(self, error: MeterlinkError) -> None:
        final = error if isinstance(error, LinkError) else LinkError(error.message, self.url, **error.values)
        self._tell(STOPPED, str(error), final)
        self._on_lost(final)

    def _now(self) -> float:
        return self._clock() if self._clock is not None else asyncio.get_running_loop().time()

    def _tell(self, name: str, words: str, error: LinkError | None = None) -> None:
        self.state = LinkState(name, words, self.url, error)
        if self.on_state is None or not self._is_news(name, error):
            return
        self._told = self.state
        self.on_state(self.state)

    def _is_news(self, name: str, error: LinkError | None) -> bool:
        """One sentence for one outage: neither the attempts in it nor "gone" and then "not there" are news."""
        told = self._told
        if told is None or told.url != self.url:
            return name != CONNECTING or told is None
        if told.name != WAITING:
            return name != told.name
        if name == WAITING:
            gone = (LinkLost, LinkNotFound)
            return not (isinstance(error, gone) and isinstance(told.error, gone)) and str(error) != str(told.error)
        return name != CONNECTING


def _taken(first: asyncio.Future[None]) -> None:
    # Read the outcome, so that the loop does not report it as never looked at.
    if not first.cancelled():
        first.exception()
