"""An event loop that answers some descriptors on the spot: a sensor's bytes reach their reader without a turn of the loop.

asyncio wraps each ready descriptor in a handle, queues it, and runs the queue: a quarter of the time from a byte's arrival
to a reading.  Here the loop's selector itself calls those that asked for it, still on the loop's thread.  Where a loop was not
made by ``new_loop`` everything works as usual, a little later.
"""

from __future__ import annotations

import asyncio
import contextlib
import select
import selectors
import sys
from collections.abc import Callable, Coroutine
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

T = TypeVar("T")
MOST_AT_ONCE = 8
"""Descriptors told of in one turn; without it the system clears room for a thousand each time."""
Ready = list[tuple[selectors.SelectorKey, int]]


class DirectSelector(selectors.DefaultSelector):
    """The system's selector; ``watch`` adds descriptors that it answers itself."""

    def __init__(self) -> None:
        super().__init__()
        self._calls: dict[int, Callable[[], None]] = {}
        self._epoll = select.epoll() if hasattr(select, "epoll") else None
        if self._epoll is not None:
            # The watched descriptors one by one, all others as a single one: what woke us is known without searching their keys.
            self._epoll.register(self.fileno(), select.EPOLLIN)
        self.on_error: Callable[[BaseException], None] = lambda _error: None

    def watch(self, fd: int, call: Callable[[], None]) -> None:
        """Call ``call`` as soon as ``fd`` can be read."""
        if self._epoll is not None:
            self._epoll.register(fd, select.EPOLLIN)
        else:
            self.register(fd, selectors.EVENT_READ)
        self._calls[fd] = call

    def unwatch(self, fd: int) -> bool:
        """Stop; False when it was not watched."""
        if self._calls.pop(fd, None) is None:
            return False
        if self._epoll is not None:
            # Closed already, or the loop is: it is gone from the system's list by itself.
            with contextlib.suppress(OSError, ValueError):
                self._epoll.unregister(fd)
        else:
            self.unregister(fd)
        return True

    def select(self, timeout: float | None = None) -> Ready:
        """Return what is ready, without the watched ones: those have been called."""
        calls = self._calls
        if not calls:
            return super().select(timeout)
        rest: Ready = []
        if self._epoll is None:
            ready = super().select(timeout)
            rest = [item for item in ready if item[0].fd not in calls]
            woken = [(key.fd, events) for key, events in ready]
        else:
            woken = self._epoll.poll(timeout, MOST_AT_ONCE)
        for fd, _events in woken:
            call = calls.get(fd)
            if call is not None:
                try:
                    call()
                except Exception as error:
                    self.on_error(error)
            elif self._epoll is not None:
                # All that is not watched stands behind one descriptor.  (One let go by a call before it counts for nothing.)
                rest = super().select(0)
        return rest

    def close(self) -> None:
        """Close both."""
        self._calls.clear()
        if self._epoll is not None:
            self._epoll.close()
        super().close()


_selectors: WeakKeyDictionary[asyncio.AbstractEventLoop, DirectSelector] = WeakKeyDictionary()


def new_loop() -> asyncio.AbstractEventLoop:
    """Return an event loop with a direct selector; the system's usual loop where there is no selector (Windows)."""
    if sys.platform == "win32":
        return asyncio.new_event_loop()
    selector = DirectSelector()
    loop = asyncio.SelectorEventLoop(selector)
    selector.on_error = lambda error: loop.call_exception_handler({"message": "reading a sensor", "exception": error})
    _selectors[loop] = selector
    return loop


def run(main: Coroutine[Any, Any, T]) -> T:
    """``asyncio.run`` on such a loop."""
    with asyncio.Runner(loop_factory=new_loop) as runner:
        return runner.run(main)


def add_reader(loop: asyncio.AbstractEventLoop, fd: int, call: Callable[[], None]) -> None:
    """``loop.add_reader``, directly where the loop can."""
    selector = _selectors.get(loop)
    if selector is not None:
        selector.watch(fd, call)
    else:
        loop.add_reader(fd, call)


def remove_reader(loop: asyncio.AbstractEventLoop, fd: int) -> None:
    """Undo ``add_reader``."""
    selector = _selectors.get(loop)
    if selector is None or not selector.unwatch(fd):
        loop.remove_reader(fd)
