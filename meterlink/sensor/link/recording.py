"""Write down what comes over any link, and play it back: a recording is enough to show a fault on another machine.

The format is in ``shared/wire/recording-v1.md``: one JSON object a line, flushed record by record, so that a crash costs
at most the last half line.  ``RecordingLink`` is a tap around any link; ``FileLink`` is ``file:RECORDING``.
"""

from __future__ import annotations

import asyncio
import base64
import binascii
import json
import time
from collections.abc import Awaitable, Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import IO, Any, NamedTuple

from meterlink.errors import LinkError, LinkLost, LinkNotFound, RecordingEnded, UsageError
from meterlink.sensor.link.base import Link, OnBytes, OnLinkState, OnLost, nobody
from meterlink.sensor.link.registry import LinkUrl
from meterlink.words.language import say

FORMAT = "meterlink recording"
VERSION = 1
MAX_LINE = 200_000
"""Characters: a read of a link brings at most some thousand bytes; this is hostile or no recording."""
MAX_SPEED = 1000.0
TURNS = 64
"""Played as fast as possible, the event loop gets its turn after so many records."""

Clock = Callable[[], float]


class Record(NamedTuple):
    """One line of a recording after its header."""

    at_s: float
    """Since the start of the recording."""
    direction: str
    """``in`` (from the sensor), ``out`` (to it), ``open`` or ``lost``."""
    channel: str = ""
    data: bytes = b""


class RecordingLink:
    """A link that writes down everything that passes through it.  Several openings go into one recording.

    A full disk must not stop her work: the recording ends there, and ``trouble`` says so.
    """

    def __init__(
        self,
        link: Link,
        path: str | Path,
        *,
        clock: Clock = time.monotonic,
        now: Callable[[], float] = time.time,
        on_trouble: Callable[[str], None] | None = None,
    ) -> None:
        self.link: Any = link
        self.url = link.url
        self.path = Path(path)
        self.trouble = ""
        self._clock = clock
        self._now = now
        self._on_trouble = on_trouble
        self._start_s = 0.0
        self._begun = False
        self._file: IO[str] | None = None
        self._lost: OnLost = nobody
        self._bytes: OnBytes = nobody

    @property
    def on_state(self) -> OnLinkState | None:
        """The inner link's, if it has one: whoever looks for it sees what is behind the tap."""
        told: OnLinkState | None = self.link.on_state
        return told

    @on_state.setter
    def on_state(self, on_state: OnLinkState | None) -> None:
        self.link.on_state = on_state

    async def open(self, on_bytes: OnBytes, on_lost: OnLost) -> None:
        """Begin the recording, if it is the first opening, and open the link.

        Raises UsageError: the file is there already or cannot be made.
        """
        if self._file is None and not self.trouble:
            self._begin()
        self._bytes, self._lost = on_bytes, on_lost
        self._write({"e": "open"})
        await self.link.open(self._on_bytes, self._on_lost)

    async def write(self, data: bytes) -> None:
        """Send ``data`` and write it down."""
        self._write({"d": "out", "b": _text(data)})
        await self.link.write(data)

    async def close(self) -> None:
        """Close the link and the recording; it is complete on the disk."""
        await self.link.close()
        file, self._file = self._file, None
        if file is not None:
            try:
                file.close()
            except OSError as error:
                self._stop(error)

    def _begin(self) -> None:
        try:
            # One that this very object has begun and closed goes on.
            self._file = self.path.open("a" if self._begun else "x", encoding="ascii", newline="\n")
        except FileExistsError:
            raise UsageError("{path} is there already: choose another name for the recording", path=self.path) from None
        except OSError as error:
            if self._begun:
                self._stop(error)
                return
            raise UsageError(
                "{path} cannot be written ({strerror}): choose another place", path=self.path, strerror=error.strerror,
            ) from error
        if self._begun:
            return
        self._begun = True
        self._start_s = self._clock()
        started = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(self._now()))
        self._put({"format": FORMAT, "version": VERSION, "url": self.url, "started": started})

    def _on_bytes(self, data: bytes, at_s: float, channel: str) -> None:
        record = {"t": round(at_s - self._start_s, 6), "d": "in", "b": _text(data)}
        if channel:
            record["c"] = channel
        self._put(record)
        self._bytes(data, at_s, channel)

    def _on_lost(self, error: LinkError) -> None:
        self._write({"e": "lost", "words": str(error)})
        self._lost(error)

    def _write(self, record: dict[str, Any]) -> None:
        self._put({"t": round(self._clock() - self._start_s, 6), **record})

    def _put(self, record: dict[str, Any]) -> None:
        if self._file is None:
            return
        try:
            self._file.write(json.dumps(record, separators=(",", ":")) + "\n")
            self._file.flush()
        except OSError as error:
            self._stop(error)

    def _stop(self, error: OSError) -> None:
        self.trouble = say(
            "the recording {path} has stopped ({error}): free some space; metering goes on", path=self.path, error=error.strerror
        )
        file, self._file = self._file, None
        if file is not None:
            with suppress(OSError):
                file.close()
        if self._on_trouble is not None:
            self._on_trouble(self.trouble)


def _text(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")


def read_header(path: str | Path) -> dict[str, Any]:
    """Return the header of a recording.  Raises like ``records``."""
    with _opened(Path(path)) as file:
        return _header(Path(path), file)


def records(path: str | Path) -> Iterator[Record]:
    """Yield the records of a recording, one line in memory at a time.

    A last line that was cut off by a crash is left out.  Raises LinkNotFound: there is no such file; LinkError: it is no recording,
    of a newer version, or damaged; the message names the line.
    """
    path = Path(path)
    with _opened(path) as file:
        _header(path, file)
        number = 1
        for line in iter(lambda: file.readline(MAX_LINE + 1), ""):
            number += 1
            if not line.endswith("\n") and len(line) <= MAX_LINE:
                return
            try:
                record = _parse(line)
            except (ValueError, KeyError, TypeError, RecursionError) as why:
                raise LinkError(
                    "{path} is damaged at line {number}: delete that line or use what comes before it",
                    f"file:{path}", path=path, number=number,
                ) from why
            if record is not None:
                yield record


def _opened(path: Path) -> IO[str]:
    try:
        if path.exists() and not path.is_file():
            # A pipe or a device would be waited for, or never end.
            raise LinkError("{path} cannot be read (it is not a file): choose a recording", f"file:{path}", path=path)
        return path.open(encoding="ascii", errors="replace", newline="\n")
    except FileNotFoundError:
        raise LinkNotFound("there is no recording {path}: check its name", f"file:{path}", path=path) from None
    except OSError as error:
        raise LinkError(
            "{path} cannot be read ({strerror}): choose a recording", f"file:{path}", path=path, strerror=error.strerror,
        ) from error


def _header(path: Path, file: IO[str]) -> dict[str, Any]:
    refuse = LinkError("{path} is not a recording of meterlink: choose a file that was recorded by it", f"file:{path}", path=path)
    try:
        header = json.loads(file.readline(MAX_LINE))
    except (ValueError, RecursionError):
        raise refuse from None
    if not isinstance(header, dict) or header.get("format") != FORMAT:
        raise refuse
    if header.get("version") != VERSION:
        raise LinkError(
            "{path} is a recording of version {value!r} and this meterlink reads {number}: update it",
            f"file:{path}", path=path, value=header.get('version'), number=VERSION,
        )
    return header


def _parse(line: str) -> Record | None:
    if len(line) > MAX_LINE:
        raise ValueError("too long")
    item = json.loads(line)
    at_s = item["t"]
    if not isinstance(at_s, (int, float)) or isinstance(at_s, bool) or not 0.0 <= at_s < 1e9:
        raise ValueError("no time")
    if "e" in item:
        return Record(at_s, {"open": "open", "lost": "lost"}[item["e"]])
    if "n" in item:
        return None
    channel = item.get("c", "")
    if not isinstance(channel, str) or item["d"] not in ("in", "out"):
        raise ValueError("no direction")
    try:
        data = base64.b64decode(item["b"], validate=True)
    except binascii.Error as why:
        raise ValueError("no bytes") from why
    return Record(at_s, item["d"], channel, data)


def from_url(url: LinkUrl) -> FileLink:
    """Return the link of ``file:RECORDING?speed=max`` (or a number: 2 is twice as fast)."""
    url.refuse_options_but("speed")
    text = url.options.get("speed", "1")
    try:
        speed = 0.0 if text == "max" else float(text)
    except ValueError:
        speed = -1.0
    if not (text == "max" or 0.0 < speed <= MAX_SPEED):
        raise UsageError(
            "{url}: speed is max or a number up to {max_speed:.0f}, not {typed!r}", url=url.text, max_speed=MAX_SPEED, typed=text,
        )
    return FileLink(url.target, speed=speed, url=url.text)


class FileLink:
    """Plays a recording.  What is written to it goes nowhere: the sensor's answers are those of then.

    The times that it passes on are those of the recording at any speed, so that whatever depends on them (two pops too
    close) comes out the same.
    """

    def __init__(
        self,
        path: str | Path,
        *,
        speed: float = 1.0,
        url: str = "",
        clock: Clock = time.monotonic,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> None:
        self.url = url or f"file:{path}"
        self._path = Path(path)
        self._speed = speed
        self._clock = clock
        self._sleep = sleep
        self._task: asyncio.Task[None] | None = None

    async def open(self, on_bytes: OnBytes, on_lost: OnLost) -> None:
        """Check the header and begin to play."""
        await self.close()
        read_header(self._path)
        self._task = asyncio.get_running_loop().create_task(self._play(on_bytes, on_lost))

    async def write(self, data: bytes) -> None:  # noqa: ARG002
        """Take ``data`` and forget it."""
        if self._task is None:
            raise LinkLost("the recording {path} is not being played: open it first", self.url, path=self._path)

    async def close(self) -> None:
        """Stop playing."""
        task, self._task = self._task, None
        if task is not None and task is not asyncio.current_task():
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)

    async def _play(self, on_bytes: OnBytes, on_lost: OnLost) -> None:
        start_s = self._clock()
        # Whoever opened this must have had the time to look at what it got.
        await asyncio.sleep(0)
        try:
            for count, record in enumerate(records(self._path)):
                if self._speed:
                    wait_s = record.at_s / self._speed - (self._clock() - start_s)
                    if wait_s > 0.0:
                        await self._sleep(wait_s)
                elif count % TURNS == 0:
                    await asyncio.sleep(0)
                if record.direction == "in":
                    on_bytes(record.data, start_s + record.at_s, record.channel)
        except LinkError as error:
            on_lost(error)
            return
        on_lost(RecordingEnded("the recording {path} has ended: that is all there is", self.url, path=self._path))
