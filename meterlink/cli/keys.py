"""Lines that are typed while something else goes on, on every system."""

from __future__ import annotations

import asyncio
import os
import stat
import sys
import threading

MOST_BYTES = 4096


class Lines:
    """Lines of standard input without blocking the loop.

    Terminals and pipes are watched by the loop; where it cannot (Windows, a plain file) a thread reads, which the program may
    leave behind: it holds no lock of the interpreter's own input.
    """

    def __init__(self, *, files: bool = True) -> None:
        """``files`` False ignores a plain file: its lines would all come before the first pop."""
        self.interactive = sys.stdin is not None and sys.stdin.isatty()
        self._files = files
        self._queue: asyncio.Queue[str | None] = asyncio.Queue()
        self._loop = asyncio.get_running_loop()
        self._started = self._over = False
        self._watched = -1
        self._rest = b""

    def start(self) -> None:
        """Begin to read."""
        if self._started:
            return
        self._started = True
        try:
            fd = sys.stdin.fileno()
            plain = stat.S_ISREG(os.fstat(fd).st_mode)
        except (AttributeError, OSError, ValueError):
            fd, plain = -1, True
        if plain and not self._files:
            return
        try:
            self._loop.add_reader(fd, self._read, fd)
            self._watched = fd
        except (OSError, ValueError, NotImplementedError):
            threading.Thread(target=self._read_all, args=(fd,), daemon=True, name="keys").start()

    def stop(self) -> None:
        """Stop listening."""
        self._over = True
        if self._watched >= 0:
            self._loop.remove_reader(self._watched)
            self._watched = -1

    async def next(self) -> str | None:
        """Wait for a line; None when no more will come."""
        self.start()
        return await self._queue.get()

    def _read(self, fd: int) -> None:
        try:
            data = os.read(fd, MOST_BYTES)
        except BlockingIOError:
            return
        except OSError:
            data = b""
        self._take(data)
        if not data:
            self.stop()

    def _read_all(self, fd: int) -> None:
        """In a thread: every line, to the end."""
        if fd < 0:
            for line in sys.stdin or ():
                self._hand_over(line.encode())
            self._hand_over(b"")
            return
        data = b"-"
        while data and not self._over:
            try:
                data = os.read(fd, MOST_BYTES)
            except OSError:
                data = b""
            self._hand_over(data)

    def _hand_over(self, data: bytes) -> None:
        if not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._take, data)

    def _take(self, data: bytes) -> None:
        lines = (self._rest + data).split(b"\n")
        self._rest = lines.pop()[-MOST_BYTES:]
        if not data and self._rest:
            lines.append(self._rest)
        for line in lines:
            self._queue.put_nowait(line.decode(errors="replace").strip())
        if not data:
            self._queue.put_nowait(None)
