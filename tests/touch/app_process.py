"""The app in a process of its own, with a debug socket: started by the touch tests, by nobody else.

``python -m tests.touch.app_process LIBRARY SOCKET WIDTH HEIGHT [SENSOR_URL]``; with ``METERLINK_TEST_BLUETOOTH`` it looks for
Bluetooth sensors.  The tests fork it off a process that has imported already (``warm``).

The app is the product's own; the socket lives here and only here.  It answers one JSON line with one JSON line: what
is on the screen (texts with their boxes), and the few things that no finger can do (the flash of a simulated set, a frame-by-frame
record of what was drawn).
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
import os
import sys
import time
from pathlib import Path
from typing import Any

from mobile.environment import keep_apart
from tests.touch.eyes import Eyes, Frames


def quiet() -> None:
    """Keep kivy apart from this machine, and silent; before it is imported."""
    keep_apart()
    os.environ["KIVY_WINDOW"] = "sdl2"
    logging.getLogger("kivy").setLevel(logging.CRITICAL + 1)


def prepare(width: int, height: int) -> None:
    """A window of this size in the upper left corner."""
    quiet()
    from kivy.config import Config

    wanted = {"width": width, "height": height, "multisamples": 0, "position": "custom", "left": 0, "top": 0}
    for name, value in {**wanted, "borderless": 1}.items():
        Config.set("graphics", name, str(value))
    for name, _value in Config.items("input"):
        if name != "mouse":
            Config.remove_option("input", name)
    Config.set("input", "mouse", "mouse,disable_multitouch")


class Socket:
    """Answers questions, one line each."""

    def __init__(self, app: Any) -> None:
        self.app = app
        self.eyes = Eyes(app)
        self.frames = Frames(app)
        self._counted = False
        self._made_s = 0.0

    async def serve(self, path: str) -> None:
        """Answer until the app ends."""
        server = await asyncio.start_unix_server(self._client, path, limit=1 << 20)
        try:
            await asyncio.get_running_loop().create_future()
        finally:
            # Not waited for: from Python 3.12 on that takes until the hand at the other end has let go.
            server.close()

    async def _client(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(ConnectionError):
            while line := await reader.readline():
                try:
                    answer = self.answer(**json.loads(line))
                    answer = await answer if asyncio.iscoroutine(answer) else answer
                except Exception as error:  # the test wants to know, whatever it was
                    answer = {"error": repr(error)}
                writer.write(json.dumps(answer).encode() + b"\n")
                await writer.drain()
        writer.close()

    def answer(self, ask: str, **more: Any) -> Any:
        """Do one thing."""
        return getattr(self, f"ask_{ask}")(**more)

    def ask_screen(self) -> Any:
        """What is on the screen."""
        if not self._counted:
            self._count_outcomes()
        return self.eyes.screen()

    async def ask_settled(self, patience_s: float) -> Any:
        """What is on the screen once no work is under way and nothing changes from frame to frame but the live light."""
        from kivy.clock import Clock

        before, end_s = None, time.monotonic() + patience_s
        while True:
            now, since = self.ask_screen(), Clock.frames
            still = [one for one in now["things"] if one["name"] != "level_text"]
            if (still == before and not now["busy"]) or time.monotonic() > end_s:
                return now
            before = still
            while Clock.frames < since + 3 and time.monotonic() < end_s:
                await asyncio.sleep(0.004)

    def ask_window(self) -> Any:
        """The X server's number of the window."""
        from kivy.core.window import Window

        return Window.get_window_info().window

    def ask_delays(self) -> Any:
        """Seconds from lifting the finger until a tap acted, of each tap on what is on the page now since this was asked first."""
        from kivy.core.window import Window
        from kivy.uix.behaviors import ButtonBehavior

        if not hasattr(self, "_delays"):
            self._delays: list[float] = []
            self._lifted_s = 0.0
            Window.fbind("on_touch_up", lambda *_: setattr(self, "_lifted_s", time.monotonic()))
        for one in self.app.page.walk(restrict=True):
            if isinstance(one, ButtonBehavior) and not hasattr(one, "noted"):
                one.noted = True
                one.fbind("on_release", lambda *_: self._delays.append(time.monotonic() - self._lifted_s))
        return self._delays

    def _count_outcomes(self) -> None:
        """Count what became of pops, so that a test can wait for the next one."""
        self._counted = True
        self.app.outcomes = 0
        after = self.app.after_pop

        def counted(*args: Any, **options: Any) -> Any:
            self.app.outcomes += 1
            return after(*args, **options)

        self.app.after_pop = counted

    def ask_fire(self, held_m: float = 0.0, damaged: bool = False, light: str = "", stops: float = 0.0) -> Any:
        """Let the simulated set fire: the light that is waited for, or another one, ``stops`` brighter than usual."""
        from meterlink.metering.walk import Request
        from mobile.made_up import pulse_for

        shot, simulator = self.app.desk.shot, self.app.sensors.simulator
        request = shot.waiting or (shot.requests[-1] if shot.requests else Request(None))
        if light:
            request = Request(next(one.id for one in shot.lights if one.name == light))
        pulse = pulse_for(shot, request, held_m)
        pulse = pulse._replace(exposure_lxs=pulse.exposure_lxs * 2**stops)
        (simulator.pop_damaged if damaged else simulator.pop)(pulse)
        return {}

    def ask_plug(self, plugged: bool) -> Any:
        """Pull the simulated sensor's cable, or put it back."""
        if plugged:
            self.app.replug()
        else:
            self.app.sensors.simulator.unplug()
        return {}

    def ask_wear(self, theme: str, text_scale: float) -> Any:
        """Change theme and text size while running, as the settings do."""
        self.app.do(self.app.desk.remember, theme=theme, text_scale=text_scale, done=lambda _shot: self.app.wear())
        return {}

    def ask_show(self, place: str, light: str = "") -> Any:
        """Show a page, for the pictures; the taps that lead there have tests of their own."""
        self.app.go(place)
        if place == "lights" and not light:
            self.app.page.close()
        if light:
            self.app.page.open(next(one.id for one in self.app.desk.shot.lights if one.name == light))
        return {}

    def ask_call(self, method: str) -> Any:
        """Open or close a part of the page, for the pictures; the taps that do it have tests of their own."""
        getattr(self.app.page, method)()
        return {}

    def ask_scroll(self, part: float) -> Any:
        """Scroll the page to its head (1) or toward its foot (0); say whether there is anything to scroll."""
        from kivy.uix.scrollview import ScrollView

        panes = [one for one in self.app.page.walk(restrict=True) if isinstance(one, ScrollView)]
        longer = [one for one in panes if one.children and one.children[0].height > one.height + 1]
        for one in longer:
            one.scroll_y = part
        return bool(longer)

    def ask_note(self, sentence: str) -> Any:
        """Show the findings with one that says this, as a check might."""
        page = self.app.page
        page.toggle_findings()
        card = page.ids.findings.children[-1]
        card.title = sentence
        return {}

    def ask_handle(self) -> Any:
        """Where the handle of the light that is open stands in the window."""
        from kivy.core.window import Window

        ring = self.app.page.ids.ring
        mark = next(m for m in ring.marks if m.light_id == ring.focus_id)
        x, y = ring.to_window(*ring.scale.to_px(mark.x_m, mark.z_m))
        return [x, Window.height - y]

    def ask_record(self) -> Any:
        """Begin to keep every frame."""
        if not getattr(self, "_watching", False):
            self._watching = True
            self.frames.watch()
        self.frames.kept = []
        return {}

    def ask_frames(self) -> Any:
        """Return the frames that were drawn since ``record`` and stop keeping them."""
        kept, self.frames.kept = self.frames.kept or [], None
        return kept

    def ask_motion(self) -> Any:
        """What was set in motion since this was asked for first: (class of the widget, property, seconds)."""
        from kivy.animation import Animation

        if not hasattr(self, "_motion"):
            self._motion: list[Any] = []
            start = Animation.start

            def noted(animation: Any, widget: Any) -> None:
                self._motion += [(type(widget).__name__, name, animation.duration) for name in animation.animated_properties]
                start(animation, widget)

            Animation.start = noted
        return self._motion

    def ask_slow(self, move_s: float) -> Any:
        """Let every motion take so long from now on."""
        from mobile import layouts

        layouts.MOVE_S = move_s
        return {}

    def ask_moving(self) -> Any:
        """Whether a row is on its way to its place."""
        return any(getattr(one, "shift_y", 0) for one in self.app.page.walk(restrict=True))

    def ask_steady(self, rate_hz: int) -> Any:
        """Let the simulated sensor send steady light so often; count what arrives, and what making it costs."""
        sensors, self._levels = self.app.sensors, 0
        chip = sensors.simulator.chip
        chip.steady_rate_hz = rate_hz
        heard, made = sensors._on_level, chip.steady

        def timed(now_s: float) -> bytes:
            begun_s = time.thread_time()
            frame = made(now_s)
            self._made_s += time.thread_time() - begun_s
            return frame

        chip.steady = timed

        def counted(level: Any) -> None:
            self._levels += 1
            heard(level)

        sensors._on_level = counted
        return {}

    def ask_levels(self) -> Any:
        """How many have come since."""
        return self._levels

    def ask_find(self, url: str, name: str) -> Any:
        """Let a search find a sensor."""
        from mobile.sensor_desk import Found

        self.app.sensors._add(Found(url, name, url))
        return {}

    def ask_font(self, text: str) -> Any:
        """The file of the font that a text is drawn with."""
        from kivy.core.text import LabelBase
        from kivy.resources import resource_find

        from mobile import fonts

        name = fonts.font_for(text)
        return resource_find(name) or LabelBase._fonts[name][0]

    def ask_quit(self) -> Any:
        """Close the window, as its frame's cross does."""
        self.app.stop()
        return {}

    def ask_cpu(self) -> Any:
        """Processor time of this process so far, in seconds, without the making of simulated light."""
        return time.process_time() - self._made_s

    def ask_measure(self) -> Any:
        """Set-up, lights and readings as the snapshot has them, for what a screen does not show."""
        shot = self.app.desk.shot
        states = shot.view.lights if shot.view else ()
        return {
            s.light.name: {
                "held_off_m": s.reading.held_off_m if s.reading else None,
                "metered": s.reading is not None,
                "verdict": s.judged.verdict if s.judged else "",
                "distance_m": s.placement.distance_m if s.placement else None,
                "azimuth_deg": s.placement.azimuth_deg if s.placement else None,
                "power_stops": s.placement.power_stops if s.placement else None,
            }
            for s in states
        }


def main(argv: list[str]) -> int:
    """Run the app until its window is closed."""
    library_file, socket_path, width, height, *url = argv
    prepare(int(width), int(height))

    from meterlink.library.store import Library
    from mobile.main import MeterApp, amain
    from mobile.sensor_desk import find_bluetooth

    async def run() -> None:
        finders: tuple[Any, ...] = (find_bluetooth,) if os.environ.get("METERLINK_TEST_BLUETOOTH") else ()
        app = MeterApp(Library.open(library_file), sensor_url=url[0] if url else "", finders=finders)
        app.export_to = str(Path(library_file).parent)
        serving = asyncio.create_task(Socket(app).serve(socket_path))
        try:
            await amain(app)
        finally:
            serving.cancel()

    asyncio.run(run())
    return 0


def forked(argv: list[str], env: dict[str, str], out: str) -> None:
    """Run the app in a process that was forked for it, as if it had been started with this environment."""
    os.environ.clear()
    os.environ.update(env)
    file = os.open(out, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    os.dup2(file, 1)
    os.dup2(file, 2)
    raise SystemExit(main(argv))


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
