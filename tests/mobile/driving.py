"""Drives the real app by real touches: find a widget by its test name, bring it into view, touch it, wait for what follows."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

from tests.mobile import window

PATIENCE_S = 30.0
"""A condition that has not come by then will not come, even on a busy machine."""


class Clock:
    """A clock that stands still until it is told to go on."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        """Return the time in seconds."""
        return self.now_s


class Quiet:
    """A voice that keeps what it should have said."""

    def __init__(self) -> None:
        self.said: list[str] = []
        self.buzzed: list[str] = []
        self.ticked: list[str] = []
        self.can_speak = self.can_vibrate = True

    def say(self, text: str) -> None:
        """Keep a text."""
        self.said.append(text)

    def tick(self, kind: str) -> None:
        """Keep a tick."""
        self.ticked.append(kind)

    def buzz(self, verdict: str) -> None:
        """Keep a verdict."""
        self.buzzed.append(verdict)

    def close(self) -> None:
        """Nothing to end."""


class Driver:
    """Hands on the app."""

    def __init__(self, app: Any, clock: Clock) -> None:
        self.app = app
        self.clock = clock
        self.taps = 0
        self.pops = 0

    # -- waiting ------------------------------------------------------------------------------------------------

    async def frames(self, count: int = 3) -> None:
        """Let some frames pass."""
        from kivy.clock import Clock as KivyClock

        for _ in range(count):
            before = KivyClock.frames
            while KivyClock.frames == before:
                await asyncio.sleep(0)

    async def until(self, condition: Callable[[], Any], what: str = "") -> Any:
        """Wait, frame by frame, until something is so; fails with ``what`` when it does not come."""
        end_s = time.monotonic() + PATIENCE_S
        while time.monotonic() < end_s:
            found = condition()
            if found:
                return found
            await self.frames(1)
            self._fail_early()
        raise AssertionError(f"never came: {what or condition}")

    def _fail_early(self) -> None:
        if self.app.failures:
            raise self.app.failures[0]

    async def settled(self) -> None:
        """Wait until no work is under way."""
        await self.frames(2)
        await self.until(lambda: not self.app._tasks, "work under way ends")
        await self.frames(2)

    # -- finding ------------------------------------------------------------------------------------------------

    def find(self, test_name: str) -> Any:
        """Return the widget with this test name that is on the screen, or None."""
        for widget in self.app.frame.walk(restrict=True):
            if getattr(widget, "test_name", None) == test_name and self._shown(widget):
                return widget
        return None

    def _shown(self, widget: Any) -> bool:
        while widget is not None and widget is not self.app.frame:
            if widget.opacity == 0 or widget.disabled:
                return False
            widget = widget.parent
        return widget is not None

    def text(self, test_name: str) -> str:
        """Return the text of a widget; empty when it is not there."""
        widget = self.find(test_name)
        return widget.text if widget is not None else ""

    # -- touching -----------------------------------------------------------------------------------------------

    async def reach(self, test_name: str) -> Any:
        """Return a widget, scrolled into view."""
        from kivy.uix.scrollview import ScrollView

        widget = await self.until(lambda: self.find(test_name), f"{test_name} on the screen")
        await self.frames(2)
        parent = widget.parent
        while parent is not None and not isinstance(parent, ScrollView):
            parent = parent.parent if parent is not parent.parent else None
        # A list that makes its rows anew shows what is found in it already; kivy cannot scroll it to a widget.
        if parent is not None and not hasattr(parent, "viewclass"):
            parent.scroll_to(widget, padding=10, animate=False)
        await self._rests(widget)
        return widget

    async def _rests(self, widget: Any) -> None:
        """Wait until a widget stands still: a page is laid out over several frames, and nobody taps what still moves."""
        stood: list[tuple[float, ...]] = []
        while len(stood) < 4 or len(set(stood[-4:])) > 1:
            stood.append((*widget.to_window(*widget.pos), *widget.size))
            await self.frames(1)

    async def touch(self, x: float, y: float, *path: tuple[float, float], until: Callable[[], bool] = lambda: True) -> None:
        """Put a finger down at a place of the window, hold it until it has taken hold, move it along, lift it."""
        from kivy.tests.common import UnitTestTouch

        touch = UnitTestTouch(x, y)
        touch.touch_down()
        await self.frames(1)
        end_s = time.monotonic() + PATIENCE_S
        while not until() and time.monotonic() < end_s:
            await self.frames(1)
        for px, py in path:
            touch.touch_move(px, py)
            await self.frames(1)
        touch.touch_up()
        await self.frames(2)

    async def tap(self, test_name: str) -> None:
        """Tap a widget at its middle, as large as a finger needs it."""
        widget = await self.reach(test_name)
        assert min(widget.size) >= 47.9, f"{test_name} is too small to hit: {widget.size}"
        x, y = widget.to_window(*widget.center)
        self.taps += 1
        await self.touch(x, y)
        await self.settled()

    async def type(self, test_name: str, text: str) -> None:
        """Type into a field and leave it."""
        widget = await self.reach(test_name)
        line = widget.ids.line if "line" in widget.ids else widget
        line.focus = True
        await self.frames(2)
        line.text = ""
        line.insert_text(text)
        await self.frames(1)
        line.focus = False
        await self.settled()

    # -- the sensor ---------------------------------------------------------------------------------------------

    async def connected(self) -> None:
        """Wait until the sensor says who it is."""
        await self.until(lambda: self.app.sensors.status.ready, "the sensor is ready")
        await self.settled()

    async def pop(self, held_off_m: float = 0.0, gap_s: float = 2.0) -> None:
        """Fire the light that is waited for, and wait for what becomes of it."""
        self.clock.now_s += gap_s
        self.pops += 1
        before = self.app.desk._outcome
        self.app.fire(held_off_m)
        await self.until(lambda: self.app.desk._outcome is not before, "the pop is told")
        await self.settled()

    async def pop_direct(self) -> None:
        """Fire the key through a sensor that is not marked as simulated (it is a stand-in of the tests)."""
        self.clock.now_s += 2.0
        before = self.app.desk._outcome
        self.app.sensors.sensor.link._link.pop("KEY")
        await self.until(lambda: self.app.desk._outcome is not before, "the pop is told")
        await self.settled()


def listening(window: Any) -> list[tuple[str, Any]]:
    """Everything that is called when something happens to the window, with what it is called for."""
    return [(what, called) for what in (*window.properties(), *window.events()) for called in window.get_property_observers(what)]


def drive(
    library_file: Path,
    scenario: Callable[[Driver], Awaitable[Any]],
    *,
    size: tuple[int, int] = (360, 640),
    url: str = "",
    limit_s: float = 100,
    **options: Any,
) -> Any:
    """Run the real app on a library and let ``scenario`` use it; what the app did not expect is raised here."""
    window.prepare()
    from kivy.core.window import Window

    from meterlink.library.store import Library
    from meterlink.simulation.sensor import SimulatedLink
    from mobile.main import MeterApp, amain

    clock = Clock()
    options.setdefault("make_link", lambda _url: SimulatedLink(url=_url, clock=clock))
    options.setdefault("finders", ())
    result: list[Any] = []

    async def run() -> None:
        Window.clear_widgets() if hasattr(Window, "clear_widgets") else None
        for child in Window.children[:]:
            Window.remove_widget(child)
        before = listening(Window)
        app = MeterApp(
            Library.open(library_file), sensor_url=url, voice=options.pop("voice", None) or Quiet(), **options
        )
        driver = Driver(app, clock)

        async def use() -> None:
            try:
                await driver.until(lambda: app.place and app.page is not None, "the first page")
                await driver.settled()
                result.append(await scenario(driver))
            finally:
                app.stop()

        window.resize(*size)
        using = asyncio.create_task(use())
        await amain(app)
        await using
        for child in Window.children[:]:
            Window.remove_widget(child)
        for what, called in listening(Window):  # an app of its own process ends with it; here its pages would stay, and be drawn
            if (what, called) not in before:
                Window.funbind(what, called)
        if app.failures:
            raise app.failures[0]

    asyncio.run(asyncio.wait_for(run(), limit_s))
    return result[0]
