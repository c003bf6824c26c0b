"""The app beside an empty kivy window: frames a second with live data, frames until a pop is seen, start, memory.

Runs without a screen (SDL's offscreen driver, software GL).  Start and memory are ratios to an empty window in processes
of their own, in rotated rounds; frames a second are counted while steady light comes 50 times a second.
"""

from __future__ import annotations

import asyncio
import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchmarks.side_by_side import Goal, print_goals
from meterlink.sensor.dialects.messages import STEADY_RATE

if TYPE_CHECKING:  # kivy opens its window when it is imported
    from meterlink.metering.outcome import Outcome
    from mobile.main import MeterApp

ROUNDS = 5
LIVE_HZ = 50
LIVE_S = 6.0
POPS = 12


def main() -> bool:
    """Print the table; return whether all goals hold."""
    reason = why_not()
    if reason:
        print(f"The app: not measured, {reason}")
        return True
    live = child("live")
    goals = [
        Goal(
            f"frames that a whole core draws a second, {live['levels_hz']:.0f} live values a second",
            live["fps"] / live["core"],
            ">=",
            30,
        ),
        Goal("frames from the session's answer to the figure on the screen (worst)", live["pop_frames"], "<=", 2),
    ]
    held = print_goals("The app, 412 x 915, software GL", goals)
    print(
        f"  {live['fps']:.0f} frames a second drawn, with {live['core']:.2f} of a core (other work ran beside it: load "
        f"{os.getloadavg()[0]:.1f}); pop to picture p50 {live['pop_ms']:.0f} ms"
    )
    starts: dict[str, list[float]] = {"empty": [], "app": []}
    memory: dict[str, list[float]] = {"empty": [], "app": []}
    for i in range(ROUNDS + 1):
        for kind in ("empty", "app") if i % 2 else ("app", "empty"):
            found = child(kind)
            if i:  # the first round warms the disk cache
                starts[kind].append(found["first_frame_s"])
                memory[kind].append(found["peak_mb"])
    for name, figures, unit in (("start to first frame", starts, "s"), ("peak memory", memory, "MB")):
        ratio = statistics.median(a / e for a, e in zip(figures["app"], figures["empty"], strict=True))
        app, empty = (statistics.median(figures[kind]) for kind in ("app", "empty"))
        print(f"  {name}: {ratio:.2f} x an empty kivy window ({app:.2f} against {empty:.2f} {unit})")
    return held


def why_not() -> str:
    """Say why the app cannot be measured here, empty when it can."""
    import ctypes
    from importlib.util import find_spec

    if find_spec("kivy") is None:
        return "kivy is not installed (pip install '.[app]')"
    for name in ("libEGL.so.1", "libGL.so.1"):
        try:
            ctypes.CDLL(name)
        except OSError:
            return f"{name} is not here (Debian: libegl1 libgl1)"
    return ""


def child(kind: str) -> dict[str, Any]:
    """Run one measurement in a process of its own."""
    environment = {**os.environ, "BENCH_STARTED_NS": str(time.monotonic_ns())}
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.bench_app", kind],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
        env=environment,
    )
    found: dict[str, Any] = json.loads(done.stdout.strip().splitlines()[-1])
    return found


# -- inside a process of its own ----------------------------------------------------------------------------------


def run_child(kind: str) -> None:
    """Measure and print JSON."""
    from mobile.pictures import hidden_window

    hidden_window(412, 915)
    figures = empty_window() if kind == "empty" else asyncio.run(app(kind))
    figures["peak_mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps(figures))


def since_start_s() -> float:
    """Seconds since the parent asked for this process."""
    return (time.monotonic_ns() - int(os.environ.get("BENCH_STARTED_NS", 0))) / 1e9


def empty_window() -> dict[str, Any]:
    """An app with one empty widget, to its first frame."""
    from kivy.app import App
    from kivy.core.window import Window
    from kivy.uix.widget import Widget

    figures: dict[str, Any] = {}

    class Empty(App):
        """Nothing."""

        def build(self) -> Widget:
            """Return an empty widget."""
            return Widget()

    def flipped(_window: object) -> None:
        if "first_frame_s" not in figures:
            figures["first_frame_s"] = since_start_s()
            Empty.get_running_app().stop()

    Window.bind(on_flip=flipped)
    Empty().run()
    return figures


async def app(kind: str) -> dict[str, Any]:
    """The real app: to its first frame, or with live data."""
    from kivy.core.window import Window

    from meterlink.library.store import Library
    from mobile.main import MeterApp, amain

    figures: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as home:
        running = MeterApp(Library.open(Path(home) / "bench.db"), finders=())

        def flipped(_window: object) -> None:
            if "first_frame_s" not in figures:
                figures["first_frame_s"] = since_start_s()
                if kind == "app":
                    running.stop()

        Window.bind(on_flip=flipped)
        driving = asyncio.create_task(live(running, figures)) if kind == "live" else None
        await amain(running)
        if driving is not None:
            await driving
    return figures


async def live(running: MeterApp, figures: dict[str, Any]) -> None:
    """Count frames while steady light comes, then the frames that a pop takes to the screen."""
    from kivy.clock import Clock

    from mobile.first_state import begin_set

    try:
        while running.page is None:
            await asyncio.sleep(0.01)
        await running.run(running.desk.remember, speech=False, vibration=False)
        running.simulate()
        while not running.sensors.status.ready:
            await asyncio.sleep(0.01)
        await running.run(begin_set, running.desk, 6)
        running.go("metering")
        sensor = running.sensors.sensor
        await sensor.link.write(sensor.decoder.command(STEADY_RATE, 0))
        pumping = asyncio.create_task(pump(sensor.link))
        await asyncio.sleep(1.0)
        levels = [0]
        shown = sensor.on_level

        def count(level: Any) -> None:
            levels[0] += 1
            shown(level)

        sensor.on_level = count
        start, frames, busy = time.monotonic(), Clock.frames_displayed, time.process_time()
        await asyncio.sleep(LIVE_S)
        took = time.monotonic() - start
        figures["fps"] = (Clock.frames_displayed - frames) / took
        figures["levels_hz"] = levels[0] / took
        figures["core"] = (time.process_time() - busy) / took
        pumping.cancel()
        await sensor.link.write(sensor.decoder.command(STEADY_RATE, 10))
        await pops(running, Seen(running), figures)
    finally:
        running.stop()


async def pump(link: Any) -> None:
    """Send steady light so many times a second, also when the loop comes round less often."""
    start, sent = time.monotonic(), 0
    while True:
        due = int((time.monotonic() - start) * LIVE_HZ)
        for _ in range(due - sent):
            link.say(link.chip.steady(link._now_s()))
        sent = due
        await asyncio.sleep(0.5 / LIVE_HZ)


class Seen:
    """When the session answered a pop, and when a frame showed it: (frames so far, time) of each."""

    def __init__(self, running: MeterApp) -> None:
        from kivy.core.window import Window

        self.running = running
        self.answered: list[tuple[int, float]] = []
        self.drawn: list[tuple[int, float]] = []
        self.flips = 0
        self._after_pop = running.after_pop
        running.after_pop = self._timed  # type: ignore[method-assign]
        Window.bind(on_flip=self._flipped)

    def _timed(self, outcome: Outcome) -> None:
        self.answered.append((self.flips, time.monotonic()))
        self._after_pop(outcome)

    def _flipped(self, _window: object) -> None:
        self.flips += 1
        if len(self.drawn) < len(self.answered) and self._shown():
            self.drawn.append((self.flips, time.monotonic()))

    def _shown(self) -> bool:
        """The page shows the state after the last answer: the next light, or that all are metered."""
        from mobile.metering_state import metering_look

        page = self.running.pages.built["metering"]
        return bool(page.ids.headline.text == metering_look(self.running.desk.shot).headline)


async def pops(running: MeterApp, seen: Seen, figures: dict[str, Any]) -> None:
    """Fire, and count the frames from the session's answer until the frame that shows it."""
    from mobile.first_state import begin_set

    for _ in range(POPS):
        if running.desk.shot.waiting is None:
            await running.run(begin_set, running.desk, 6)
            running.go("metering")
        before = len(seen.answered)
        running.fire()
        while len(seen.answered) == before or len(seen.drawn) < len(seen.answered):
            await asyncio.sleep(0.001)
        await asyncio.sleep(0.8)
    took = [(drawn[0] - answered[0], drawn[1] - answered[1]) for answered, drawn in zip(seen.answered, seen.drawn, strict=True)]
    figures["pop_frames"] = max(frames for frames, _ in took)
    figures["pop_ms"] = 1000 * statistics.median(s for _, s in took)


if __name__ == "__main__":
    if len(sys.argv) > 1:
        run_child(sys.argv[1])
    else:
        raise SystemExit(0 if main() else 1)
