"""Listening to an unknown port and proposing what speaks there, for ``meterlink sensors --try PORT``.

The person named this port, so it is opened, and unless told not to be, also asked.  It is closed again after each
setting; a port that another program holds is never touched.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Sequence

from meterlink.errors import LinkBusy, LinkError, LinkNotFound, UsageError
from meterlink.sensor.dialects.dialect import NATIVE, OURS, Dialect, SerialSettings
from meterlink.sensor.dialects.dialect_file import make_decoder, serial_url, shipped_dialects
from meterlink.sensor.dialects.guess import MAX_HEARD, Capture, Proposal, convincing, guess
from meterlink.sensor.link.registry import link_for, parse
from meterlink.words.language import say

USUAL_BAUDS = (9600, 115_200, 57_600, 38_400, 19_200, 4800, 2400)
LISTEN_S = 1.5
"""Most sensors send several lines a second, the slow ones one a second."""
ASK_EVERY_S = 0.4
ASKS = 3


async def try_port(target: str, *, ask: bool = True, on_progress: Callable[[str], None] | None = None) -> Proposal:
    """Return what most likely speaks on ``target``, a port (``/dev/ttyUSB0``, ``COM3``) or a URL of one.

    ``ask``: whether something may be written to the port; otherwise it is only listened to.  ``on_progress`` is told in words what
    is tried at the moment.  Raises UsageError when ``target`` is no serial port, LinkError when the port is missing, held by
    another program, or may not be opened.
    """
    dialects = shipped_dialects()
    target, baud = _bare(target)
    settings = [SerialSettings(baud=baud)] if baud else _settings(dialects, target)
    captures: list[Capture] = []
    best = guess([], dialects, target)
    for number, setting in enumerate(settings):
        if on_progress is not None:
            on_progress(
                say(
                    "listening to {target} at {baud} baud ({number} of {count})",
                    target=target, baud=str(setting.baud), number=number + 1, count=len(settings),
                )
            )  # fmt: skip
        try:
            captures += await _heard_at(target, setting, dialects, ask)
        except (LinkNotFound, LinkBusy):
            raise
        except LinkError:
            # A setting that this adapter does not have (an odd speed, 7 bits) says nothing about the others.
            if number == len(settings) - 1 and not captures:
                raise
            continue
        best = guess(captures, dialects, target)
        if convincing(best):
            break
    return best


def _bare(target: str) -> tuple[str, int]:
    """Return the port and the speed that was given with it, else 0."""
    parts = parse(target)
    if parts.scheme != "serial":
        raise UsageError("{target}: only serial ports are tried; a Bluetooth sensor says itself what it is", target=target)
    baud = parts.options.get("baud", "")
    return parts.target, int(baud) if baud.isascii() and baud.isdigit() and len(baud) < 9 else 0


def _settings(dialects: Sequence[Dialect], target: str) -> list[SerialSettings]:
    """Return the settings to try, the likely ones first; a network port has but one."""
    if "://" in target:
        return [SerialSettings()]
    wanted = [OURS.serial]
    wanted += [SerialSettings(baud=baud) for baud in USUAL_BAUDS[:2]]
    wanted += [dialect.serial for dialect in dialects]
    wanted += [SerialSettings(baud=baud) for baud in USUAL_BAUDS]
    return list(dict.fromkeys(wanted))


async def _heard_at(target: str, setting: SerialSettings, dialects: Sequence[Dialect], ask: bool) -> list[Capture]:
    """Return what was heard at one setting: by itself, and in answer to each question that fits it."""
    heard = bytearray()

    def on_bytes(data: bytes, _at_s: float, channel: str) -> None:
        if not channel:
            heard.extend(data[: MAX_HEARD - len(heard)])

    async def listen(question: bytes, seconds: float, asked: str) -> Capture:
        heard.clear()
        start_s = time.monotonic()
        step_s = ASK_EVERY_S if question else seconds
        left_s = seconds
        while left_s > 0:
            if question:
                try:
                    await link.write(question)
                except LinkError:
                    # Lost while it was asked: what was heard before still counts.
                    break
            await asyncio.sleep(min(step_s, left_s))
            left_s -= step_s
        return Capture(setting, bytes(heard), max(time.monotonic() - start_s, 1e-3), asked)

    link = link_for(serial_url(target, NATIVE, setting))
    await link.open(on_bytes, lambda _error: None)
    try:
        any_speed = "://" in target
        ours = ask and (any_speed or setting.baud in (OURS.serial.baud, 115_200))
        captures = [await listen(make_decoder(NATIVE).identify() if ours else b"", LISTEN_S, "")]
        if ask and not captures[0].data:
            captures += [
                await listen(make_decoder(dialect).poll(), ASKS * ASK_EVERY_S, dialect.name)
                for dialect in dialects
                if dialect.poll_s and (any_speed or dialect.serial == setting)
            ]
        return captures
    finally:
        await link.close()
