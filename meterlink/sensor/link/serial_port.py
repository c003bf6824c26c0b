"""Serial ports and everything else that pyserial opens.

pyserial opens and configures.  The bytes are taken with ``os.read`` from the event loop where the system has a file
descriptor for them, because pyserial's own ``read`` and ``readline`` are three to a thousand times slower; elsewhere
(Windows, ``loop://``, ``rfc2217://``) a thread reads what is waiting.
"""

from __future__ import annotations

import asyncio
import errno
import os
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import serial

from meterlink.errors import LinkBusy, LinkError, LinkLost, LinkNotFound, UsageError, one_line
from meterlink.sensor.link.base import OnBytes, OnLost, nobody
from meterlink.sensor.link.registry import LinkUrl
from meterlink.words.actions import Do
from meterlink.words.language import say

DEFAULT_BAUD = 250_000
"""Exact on a 16 MHz ATmega; boards with USB of their own ignore it."""
READ_BYTES = 4096
THREAD_WAIT_S = 0.1
"""A reading thread looks so often whether it is to end."""
WRITE_WAIT_S = 2.0
"""A sensor that does not take a command in this time is not listening."""

_CODING: dict[str, tuple[str, dict[str, int | str]]] = {
    "data_bits": ("bytesize", {"7": 7, "8": 8}),
    "parity": ("parity", {"none": "N", "even": "E", "odd": "O"}),
    "stop_bits": ("stopbits", {"1": 1, "2": 2}),
}
"""Our options, pyserial's names for them, and the values of both."""


def from_url(url: LinkUrl) -> SerialLink:
    """Return the link of ``serial:PORT?baud=250000`` or of a URL of pyserial.

    Sensors of other makers may need ``data_bits=7``, ``parity=even`` (or ``odd``) and ``stop_bits=2`` as well.
    """
    url.refuse_options_but("baud", *_CODING)
    text = url.options.get("baud", str(DEFAULT_BAUD))
    if not (text.isascii() and text.isdigit() and 50 <= int(text[:9]) <= 12_000_000):
        raise UsageError("{url}: {typed!r} is no speed; give one such as baud=250000", url=url.text, typed=text)
    coding = {}
    for name, (key, choices) in _CODING.items():
        if name in url.options:
            if url.options[name] not in choices:
                raise UsageError(
                    "{url}: {name} is {options!r}: use one of {choices}",
                    url=url.text, name=name, options=url.options[name], choices=', '.join(choices),
                )
            coding[key] = choices[url.options[name]]
    return SerialLink(url.target, baud=int(text), url=url.text, coding=coding)


class SerialLink:
    """One serial port, held exclusively while it is open."""

    def __init__(self, port: str, *, baud: int = DEFAULT_BAUD, url: str = "", coding: dict[str, int | str] | None = None) -> None:
        self.url = url or f"serial:{port}?baud={baud}"
        self._name = port
        self._baud = baud
        self._coding = coding or {}
        self._port: Any = None
        self._fd = -1
        self._thread: threading.Thread | None = None
        self._on_bytes: OnBytes = nobody
        self._on_lost: OnLost = nobody
        self._writing = asyncio.Lock()

    async def open(self, on_bytes: OnBytes, on_lost: OnLost) -> None:
        """Open and lock the port; what had been waiting in it is thrown away by the system."""
        await self.close()
        loop = asyncio.get_running_loop()
        # Opening may take seconds (a socket, a sleeping Bluetooth port): not on the loop's thread.
        opening = loop.run_in_executor(None, self._open_port)
        try:
            port = await asyncio.shield(opening)
        except asyncio.CancelledError:
            opening.add_done_callback(_close_unwanted)
            raise
        self._port, self._on_bytes, self._on_lost = port, on_bytes, on_lost
        self._fd = _descriptor(port)
        if self._fd >= 0:
            loop.add_reader(self._fd, self._reader(on_bytes))
        else:
            self._thread = threading.Thread(target=self._pump, args=(port, loop), name=f"read {self._name}", daemon=True)
            self._thread.start()

    def _open_port(self) -> Any:
        try:
            port = serial.serial_for_url(
                self._name, baudrate=self._baud, timeout=THREAD_WAIT_S, write_timeout=WRITE_WAIT_S, exclusive=True,
                **self._coding,
            )  # fmt: skip
        except (serial.SerialException, OSError) as error:
            raise _opening_error(self._name, self.url, error) from error
        except ValueError as error:
            raise UsageError(
                "{url}: pyserial cannot use this ({error}): check the port and its speed", url=self.url, error=error,
            ) from error
        _ask_for_low_latency(port)
        return port

    def _reader(self, on_bytes: OnBytes) -> Callable[[], None]:
        # A closure: what is looked up between a byte's arrival and its reader is looked up while the code is cold.
        read, fd, clock = os.read, self._fd, time.monotonic

        def on_readable() -> None:
            try:
                data = read(fd, READ_BYTES)
            except (BlockingIOError, InterruptedError):
                return
            except OSError as error:
                self._lose(error)
                return
            if data:
                on_bytes(data, clock(), "")
            else:
                # Ready to be read and yet nothing there: that is how an unplugged adapter looks.
                self._lose(None)

        return on_readable

    def _pump(self, port: Any, loop: asyncio.AbstractEventLoop) -> None:
        lost: Exception | None = None
        while self._port is port:
            try:
                data = port.read(port.in_waiting or 1)
            except (serial.SerialException, OSError, TypeError) as error:
                # TypeError: pyserial's way to say that the port was closed under a read.
                lost = error
                break
            if data:
                self._post(loop, port, self._on_bytes, data, time.monotonic(), "")
        if lost is not None:
            self._post(loop, port, self._lose, lost)

    def _post(self, loop: asyncio.AbstractEventLoop, port: Any, tell: Callable[..., None], *what: object) -> None:
        """Tell on the loop's thread what came from a port, if that is still the one in use."""
        try:
            loop.call_soon_threadsafe(lambda: tell(*what) if self._port is port else None)
        except RuntimeError:
            # The loop was closed while the thread was reading: nobody is left to tell.
            pass

    def _lose(self, error: Exception | None) -> None:
        on_lost = self._on_lost
        self._release()
        why = f" ({error.strerror})" if isinstance(error, OSError) and error.strerror else ""
        on_lost(LinkLost(
            "the sensor on {name} is gone{why}: check its cable and plug it in again", self.url, name=self._name, why=why,
        ))

    def _release(self) -> None:
        port, self._port = self._port, None
        self._on_bytes, self._on_lost = nobody, nobody
        if port is None:
            return
        if self._fd >= 0:
            loop = asyncio.get_running_loop()
            loop.remove_reader(self._fd)
            loop.remove_writer(self._fd)
            self._fd = -1
        try:
            port.close()
        except (serial.SerialException, OSError):
            pass

    async def write(self, data: bytes) -> None:
        """Send ``data``, in whole, in the order of the calls."""
        async with self._writing:
            port = self._port
            if port is None:
                raise LinkLost("the sensor on {name} is not connected: plug it in", self.url, name=self._name)
            try:
                if self._fd >= 0:
                    await asyncio.wait_for(self._write_all(data), WRITE_WAIT_S)
                else:
                    await asyncio.get_running_loop().run_in_executor(None, port.write, data)
            except (TimeoutError, serial.SerialTimeoutException):
                raise LinkError(
                    "the sensor on {name} takes no commands: unplug it and plug it in", self.url, name=self._name,
                ) from None
            except (serial.SerialException, OSError) as error:
                if self._port is port:
                    self._lose(error if isinstance(error, OSError) else None)
                raise LinkLost("the sensor on {name} is gone: check its cable", self.url, name=self._name) from error

    async def _write_all(self, data: bytes) -> None:
        loop = asyncio.get_running_loop()
        while data:
            if self._fd < 0:
                raise OSError(errno.EIO, "closed")
            try:
                data = data[os.write(self._fd, data) :]
            except (BlockingIOError, InterruptedError):
                free = loop.create_future()
                loop.add_writer(self._fd, _wake, free)
                try:
                    await free
                finally:
                    if self._fd >= 0:
                        loop.remove_writer(self._fd)

    async def close(self) -> None:
        """Close the port and wait for its reading thread, if it has one."""
        port, thread, self._thread = self._port, self._thread, None
        if thread is not None and port is not None and hasattr(port, "cancel_read"):
            port.cancel_read()
        self._release()
        if thread is not None and thread.is_alive():
            await asyncio.get_running_loop().run_in_executor(None, thread.join, 10 * THREAD_WAIT_S)


def _wake(free: asyncio.Future[None]) -> None:
    if not free.done():
        free.set_result(None)


def _close_unwanted(opening: asyncio.Future[Any]) -> None:
    if not opening.cancelled() and opening.exception() is None:
        opening.result().close()


def _descriptor(port: Any) -> int:
    """Return the file descriptor that the event loop can watch, -1 when a thread has to read."""
    watched = type(port).__module__ in ("serial.serialposix", "serial.urlhandler.protocol_socket")
    return int(port.fileno()) if watched and os.name == "posix" else -1


def _ask_for_low_latency(port: Any) -> None:
    # USB adapters of one make hold back bytes for 16 ms unless told; others, and ptys, do not know the request.
    try:
        port.set_low_latency_mode(True)
    except (AttributeError, NotImplementedError, ValueError, OSError):
        pass


_BUSY = (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK)
_GONE = (errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.EIO)


def _opening_error(name: str, url: str, error: Exception) -> LinkError:
    """Turn what pyserial says into one of our errors, with advice."""
    code = getattr(error, "errno", None)
    text = str(error)
    if code in _BUSY or "exclusively lock" in text or "PermissionError" in text:
        # Windows says "access denied" for a port that is in use.
        return LinkBusy("{name} is held by another program: close it (a serial monitor?) and try again", url, name=name)
    if code in _GONE or "FileNotFoundError" in text:
        return LinkNotFound("there is no port {name}: plug the sensor in: {do}", url, do=Do("sensors"), name=name)
    if code == errno.EACCES:
        return LinkError("{name} may not be opened by you: {name_2}", url, name=name, name_2=_group_advice(name))
    if "://" in name:
        return LinkNotFound("{name} cannot be reached: check host and port, and that the other side listens", url, name=name)
    return LinkError(
        "{name} is not a serial port that can be used ({error}): choose another", url, name=name, error=one_line(error),
    )


def _group_advice(name: str) -> str:
    group = "dialout"
    try:
        group = Path(name).group()
    except (NotImplementedError, OSError, KeyError):
        pass
    if group == "root":
        return say("its owner is root; ask the system's administrator for a rule that opens it to you")
    return say("run 'sudo usermod -aG {group} $USER', log out and in again", group=group)
