"""Find sensors on serial ports without anybody typing a port.

Polite: excluded ports and ports that another program holds are never opened; ports that look like no board are left
alone; each of the others is asked once, all at the same time, for a few seconds.  The sensor used last comes first, at
once, from memory.  Bluetooth is looked for by ``link.ble_air``.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncGenerator, Callable, Sequence
from typing import Any, NamedTuple, Protocol

from meterlink.errors import LinkBusy, LinkError, LinkNotFound, MeterlinkError
from meterlink.records import Identity
from meterlink.sensor.dialects.native import NativeDecoder
from meterlink.sensor.link.base import Link
from meterlink.sensor.link.ports import Port, holder, ports
from meterlink.sensor.link.registry import link_for
from meterlink.words.actions import Do
from meterlink.words.language import say, say_for

ASK_WAITS_S = (0.0, 0.4, 0.6, 0.6, 0.4, 0.4)
"""Before each question: a board that restarts when its port is opened is deaf for 1.6 to 2.5 s; others answer the first one."""
PATIENCE_S = 3.0
"""After this a port is owned by something that is no sensor of ours."""
AT_ONCE = 8
LAST_SENSOR = "last_sensor"

SENSOR, REMEMBERED = "sensor", "remembered"
BUSY, NO_SENSOR, REFUSED = "busy", "no sensor", "refused"


class Found(NamedTuple):
    """One port and what is there."""

    url: str
    state: str
    """``sensor`` (it answered), ``remembered`` (used last; not asked yet), ``busy``, ``no sensor``, ``refused``."""
    identity: Identity | None = None
    name: str = ""
    """The sensor's name, or what the system says about the port."""
    words: str = ""
    """One sentence for a person; ``""`` for a sensor."""


class Memory(Protocol):
    """Where the last sensor is remembered: a library has these two methods."""

    def recall(self, key: str) -> Any:
        """Return what was remembered, or None."""
        ...

    def remember(self, key: str, value: Any) -> None:
        """Keep a small value of JSON."""
        ...


MakeLink = Callable[[str], Link]


async def find(
    memory: Memory | None = None,
    *,
    extra: Sequence[str] = (),
    exclude: Sequence[str] = (),
    everything: bool = False,
    patience_s: float = PATIENCE_S,
    make_link: MakeLink = link_for,
) -> AsyncGenerator[Found, None]:
    """Yield what is found as it is found: the remembered sensor at once, then each port when it has answered or not.

    ``everything`` asks also ports that look like no board.  Closing the iterator early closes all ports.
    """
    if (last := remembered(memory)) is not None:
        yield last
    wanted = [p for p in ports(extra, exclude) if everything or p.likely]
    first = last.url.partition("?")[0] if last is not None else ""
    wanted.sort(key=lambda p: p.url != first)
    gate = asyncio.Semaphore(AT_ONCE)
    asking = {asyncio.ensure_future(_look(port, gate, patience_s, make_link)) for port in wanted}
    try:
        for answer in asyncio.as_completed(asking):
            yield await answer
    finally:
        for task in asking:
            task.cancel()
        await asyncio.gather(*asking, return_exceptions=True)


async def find_first(memory: Memory | None = None, *, sensor_id: str = "", **how: Any) -> str:
    """Return the URL of the first sensor that answers (of the one with ``sensor_id``, if given) and remember it.

    ``how`` it is looked for: the options of ``find``.

    Raises LinkNotFound: none answers; the message says what is in the way.
    """
    seen: list[Found] = []
    async with contextlib.aclosing(find(memory, **how)) as finding:
        async for found in finding:
            if found.state == SENSOR and found.identity is not None and sensor_id in ("", found.identity.sensor_id):
                keep(memory, found.url, found.identity)
                return found.url
            seen.append(found)
    raise _nothing(seen, sensor_id)


async def find_again(sensor_id: str, make_link: MakeLink = link_for) -> str | None:
    """Return the URL at which this very sensor answers now, or None."""
    try:
        return await find_first(sensor_id=sensor_id, make_link=make_link)
    except LinkNotFound:
        return None


def remembered(memory: Memory | None) -> Found | None:
    """Return the sensor used last, as it was remembered; a damaged memory is no memory."""
    last = memory.recall(LAST_SENSOR) if memory is not None else None
    if not isinstance(last, dict) or not isinstance(last.get("url"), str):
        return None
    name = last.get("name")
    return Found(last["url"], REMEMBERED, None, name if isinstance(name, str) else "", say("used last time"))


def keep(memory: Memory | None, url: str, identity: Identity) -> None:
    """Remember a sensor as the last one."""
    if memory is not None:
        memory.remember(LAST_SENSOR, {"url": url, "sensor_id": identity.sensor_id, "name": identity.name})


async def _look(port: Port, gate: asyncio.Semaphore, patience_s: float, make_link: MakeLink) -> Found:
    async with gate:
        # A port that the user named may be held open by what stands behind it (a simulated chip): its lock decides.
        held_by = "" if port.named else await asyncio.to_thread(holder, port.name)
        if held_by:
            words = say("in use by {program}: close it to use this port", program=held_by)
            return Found(port.url, BUSY, None, port.description, words)
        try:
            identity = await ask(make_link(port.url), patience_s)
        except MeterlinkError as error:
            return Found(port.url, BUSY if isinstance(error, LinkBusy) else REFUSED, None, port.description, str(error))
    if identity is None:
        words = say("something that is no known sensor: {do}", do=Do("sensors_try", port=port.name))
        return Found(port.url, NO_SENSOR, None, port.description, words)
    return Found(port.url, SENSOR, identity, identity.name)


async def ask(link: Link, patience_s: float = PATIENCE_S) -> Identity | None:
    """Open a link, ask who is there a few times, close it; None when nobody answers in our own format.

    Raises LinkError: it cannot be opened, or is lost meanwhile.
    """
    decoder = NativeDecoder()
    answer: asyncio.Future[Identity] = asyncio.get_running_loop().create_future()

    def on_bytes(data: bytes, at_s: float, channel: str) -> None:
        for sample in decoder.feed(data, at_s, channel):
            if isinstance(sample, Identity) and not answer.done():
                answer.set_result(sample)

    def on_lost(error: LinkError) -> None:
        if not answer.done():
            answer.set_exception(error)

    async def keep_asking() -> None:
        for wait_s in ASK_WAITS_S:
            await asyncio.sleep(wait_s)
            await link.write(decoder.identify())

    await link.open(on_bytes, on_lost)
    asking = asyncio.ensure_future(keep_asking())
    try:
        return await asyncio.wait_for(answer, patience_s)
    except TimeoutError:
        return None
    finally:
        asking.cancel()
        await asyncio.gather(asking, return_exceptions=True)
        await link.close()


def _nothing(seen: Sequence[Found], sensor_id: str) -> LinkNotFound:
    who = say("the sensor {id}", id=sensor_id) if sensor_id else say("a sensor")
    asked = [f"{f.url.removeprefix('serial:')}: {say_for('port', f.state)}" for f in seen if f.state != REMEMBERED]
    if not asked:
        return LinkNotFound(
            "{who} was not found, there is no port that looks like one: plug it in, or name it with --sensor URL", who=who
        )
    found = "; ".join(asked)[:300]
    return LinkNotFound("{who} was not found ({found}): plug it in, or name it with --sensor URL", who=who, found=found)
