"""An event loop that answers some descriptors on the spot: a sensor's bytes reach their reader without a turn of the loop.

asyncio wraps each ready descriptor in a handle, queues it, and runs the queue: a quarter of the time from a byte's arrival
to a reading.  Here the loop's selector itself calls those that asked for it, still on the loop's thread.  Where a loop was not
made by ``new_loop`` everything works as usual, a little later.
"""

from __future__ import annotations

import asyncio
import selectors
import sys
from collections.abc import Callable, Coroutine
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

T = TypeVar("T")
Ready = list[tuple[selectors.SelectorKey, int]]


class DirectSelector(selectors.DefaultSelector):
    """The system's selector; ``watch`` adds descriptors that it answers itself."""

    def __init__(self) -> None:
        super().__init__()
        self._calls: dict[int, Callable[[], None]] = {}
        self.on_error: Callable[[BaseException], None] = lambda _error: None

    def watch(self, fd: int, call: Callable[[], None]) -> None:
        """Call ``call`` as soon as ``fd`` can be read."""
        self.register(fd, selectors.EVENT_READ)
        self._calls[fd] = call

    def unwatch(self, fd: int) -> bool:
        """Stop; False when it was not watched."""
        if self._calls.pop(fd, None) is None:
            return False
        self.unregister(fd)
        return True

    def select(self, timeout: float | None = None) -> Ready:
        """Return what is ready, without the watched ones: those have been called."""
        ready = super().select(timeout)
        calls = self._calls
        if not calls:
            return ready
        rest: Ready = []
        for item in ready:
            call = calls.get(item[0].fd)
            if call is None:
                rest.append(item)
                continue
            try:
                call()
            except Exception as error:
                self.on_error(error)
        return rest


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
