"""Which sensors are connected, what each is and what it can do; found without typing a port.

examples:
  meterlink sensors                       serial ports and Bluetooth, the one used last at once
  meterlink sensors --exclude ttyUSB3     never touch that port (may be given several times; METERLINK_EXCLUDE_PORTS)
  meterlink sensors --try /dev/ttyUSB0    listen to an unknown sensor and propose how to read it
  meterlink sensors --name "my dome" /dev/ttyUSB0   give a sensor of the build notes its name, and its id where it has none
  meterlink sensors --json

Ports that another program holds are never opened.  Give a sensor by its URL: meterlink meter KEY --sensor URL
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import secrets
import time
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

from meterlink.calibration.chosen import choose, in_use, reminders
from meterlink.cli.frame import JSON, open_library, option, out, print_json, print_rows
from meterlink.errors import LinkError, SensorError, UsageError
from meterlink.library.store import Library
from meterlink.records import Identity, Reply
from meterlink.records.kept import RECEPTORS
from meterlink.sensor.dialects.messages import DONE, SET_IDENTITY
from meterlink.sensor.dialects.native import NativeDecoder
from meterlink.sensor.find import SENSOR, Found, find
from meterlink.sensor.link.ble_air import scan
from meterlink.sensor.link.registry import link_for
from meterlink.sensor.probe import try_port
from meterlink.words.actions import Do
from meterlink.words.language import marked, say
from meterlink.words.told import put, written

ID_BYTES = 8
Tell = Callable[[str], None]
SEES = (marked("flash"), marked("steady light"), marked("colour"), marked("distance"))


class Row(NamedTuple):
    """One sensor that was found."""

    url: str
    name: str
    sensor_id: str
    what: str
    dialect: str | None = None
    flash: bool | None = None
    signal: str | None = None
    calibrations: Sequence[str] = ()


OPTIONS = (
    option("--exclude", action="append", default=[], metavar="PORT", help="never open this port"),
    option("--port", action="append", default=[], metavar="PORT", help="ask this port too"),
    option("--everything", action="store_true", help="ask also ports that look like no board"),
    option("--no-bluetooth", action="store_true", help="serial ports only"),
    option("--try", dest="attempt", metavar="PORT", help="listen to PORT and propose a dialect"),
    option("--name", nargs=2, metavar=("NAME", "PORT"), help="name the sensor on PORT, and give it an id where "
        "it has none"),
    option("--listen-only", action="store_true", help="with --try: write nothing to the port"),
    JSON,
)


def run(args: argparse.Namespace) -> int:
    """Look and print; exit code 1 when nothing was found."""
    if args.attempt:
        return asyncio.run(_try(args))
    if args.name:
        return asyncio.run(_name(*args.name))
    with open_library(args) as library:
        rows = asyncio.run(_look(args, library))
    if args.json:
        print_json(rows)
        return 0
    if not rows:
        out("no sensor found: plug one in, or see '{do}' and --sensor sim: for first steps without one", do=Do("demo"))
        return 1
    print()
    print_rows(("sensor", "what it is", "signal", "URL"), [(row.name, row.what, row.signal or "", row.url) for row in rows])
    return 0


async def _look(args: argparse.Namespace, library: Library) -> list[Row]:
    """Ask serial ports and listen for Bluetooth at the same time, telling what is found as it is found."""
    found: dict[str, Row] = {}

    def tell(text: str) -> None:
        if not args.json:
            print(text, flush=True)

    tell(say("looking on serial ports ..." if args.no_bluetooth else "looking on serial ports and for Bluetooth sensors (5 s) ..."))
    work = [_serial(args, library, found, tell)]
    if not args.no_bluetooth:
        work.append(_bluetooth(found, tell))
    await asyncio.gather(*work)
    return list(found.values())


async def _serial(args: argparse.Namespace, library: Library, found: dict[str, Row], tell: Tell) -> None:
    async for one in find(library, extra=args.port, exclude=args.exclude, everything=args.everything):
        if one.state == SENSOR:
            row = found[one.url] = row_of(one, library)
            tell(f"  {row.name}: {row.what}")
            for words in row.calibrations:
                tell(f"    {words}")
        elif one.words:
            tell(f"  {one.name or one.url}: {one.words}")


def row_of(one: Found, library: Library) -> Row:
    """One sensor that answered."""
    identity = one.identity
    assert identity is not None
    has = (identity.flash, identity.steady, identity.colour, identity.range_finder)
    kinds = [say(word) for there, word in zip(has, SEES, strict=True) if there] or [say("nothing that it tells of")]
    what = [put("sees {kinds:,}", kinds=kinds)]
    ranges = [written(one, "range") for one in identity.ranges]
    what += [put("ranges {names:and}", names=ranges)] if len(ranges) > 1 else []
    what += [say("firmware {version}", version=identity.firmware)] if identity.firmware else []
    name, calibrations = written(identity.name or one.name, "sensor"), calibrations_of(library, identity)
    return Row(one.url, name, identity.sensor_id, ", ".join(what), identity.dialect, identity.flash, calibrations=calibrations)


def calibrations_of(library: Library, identity: Identity) -> list[str]:
    """Which calibration is used with each receptor, with what is to be known of it, as lines."""
    known, lines = library.calibrations(identity.sensor_id), []
    for receptor in RECEPTORS:
        used = choose(known, identity, receptor)
        lines.append(put("{receptor:receptor}: {what}", receptor=receptor, what=in_use(used)))
        if any(c.method != "assumed" for c in known):
            lines += [f"! {words}" for words in reminders(used, identity, time.time(), receptor=receptor)]
    return lines


async def _bluetooth(found: dict[str, Row], tell: Tell) -> None:
    try:
        for seen in await scan(5.0):
            found[seen.url] = Row(seen.url, seen.name, seen.address, seen.what, signal=f"{seen.signal_dbm} dBm")
    except LinkError as error:
        tell(f"  Bluetooth: {error}")


async def _name(name: str, port: str) -> int:
    """Keep a name in a sensor, with a new random id where it has none; an id that is there is never changed."""
    url = port if port.startswith(("serial:", "socket:", "ble:")) else f"serial:{port}?baud=250000"
    decoder, samples = NativeDecoder(), asyncio.Queue[Any]()
    link = link_for(url)

    def take(data: bytes, at_s: float, channel: str) -> None:
        for sample in decoder.feed(data, at_s, channel):
            samples.put_nowait(sample)

    async def answer(question: Callable[[], bytes], fits: Callable[[Any], bool]) -> Any:
        for _ in range(4):
            await link.write(question())
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(1.5):
                    while not fits(sample := await samples.get()):
                        pass
                    return sample
        raise SensorError(
            "no sensor of the build notes answers on {port}: check the port, and that no other program holds it", port=port
        )

    await link.open(take, lambda _error: None)
    try:
        identity = await answer(decoder.identify, lambda s: isinstance(s, Identity))
        nameless = int(identity.sensor_id, 16) == 0
        sensor_id = secrets.token_hex(ID_BYTES) if nameless else identity.sensor_id
        try:
            frame = decoder.set_identity(sensor_id, name)
        except ValueError as error:
            raise UsageError("{error}: choose a shorter name", error=error) from None
        reply = await answer(lambda: frame, lambda s: isinstance(s, Reply) and s.command == SET_IDENTITY)
        if reply.code != DONE:
            raise SensorError(
                "{sensor} keeps its name: {why}; update its firmware",
                sensor=identity.name, why=reply.text or say("its firmware is older"),
            )
        after = await answer(decoder.identify, lambda s: isinstance(s, Identity))
    finally:
        await link.close()
    out(
        "{name} ({id}): a new id, kept in the sensor from now on" if nameless else "{name} ({id})",
        name=after.name, id=after.sensor_id,
    )  # fmt: skip
    return 0


async def _try(args: argparse.Namespace) -> int:
    proposal = await try_port(
        args.attempt, ask=not args.listen_only, on_progress=None if args.json else lambda text: print(f"  {text}", flush=True)
    )
    if args.json:
        print_json(proposal)
        return 0 if proposal.dialect else 1
    if not proposal.dialect:
        out("nothing that is known: {evidence}", evidence=proposal.evidence)
        if proposal.draft:
            out("a dialect to begin with (save as mysensor.toml, then --sensor '...?dialect=mysensor.toml'):")
            print(proposal.draft)
        return 1
    out("it speaks {dialect}: {evidence}", dialect=proposal.dialect, evidence=proposal.evidence)
    if proposal.can:
        print(proposal.can)
    if proposal.others:
        out("these fit as well: {others:,}", others=proposal.others)
    out("use it with: --sensor '{url}'", url=proposal.url)
    return 0
