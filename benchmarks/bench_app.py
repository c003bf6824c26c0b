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
from typing import Any

from benchmarks.side_by_side import Goal, print_goals

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
        return "kivy is not installed (pip install 'meterlink[app]')"
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
    return (time.monotonic_ns() - int(os.environ["BENCH_STARTED_NS"])) / 1e9


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


async def live(running: Any, figures: dict[str, Any]) -> None:
    """Count frames while steady light comes, then the frames that a pop takes to the screen."""
    from kivy.clock import Clock

    from meterlink.sensor.dialects.messages import STEADY_RATE
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
        await pops(running, figures)
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


async def pops(running: Any, figures: dict[str, Any]) -> None:
    """Fire, and count the frames from the session's answer until the frame that shows it."""
    from kivy.core.window import Window

    from mobile.metering_state import metering_look

    answered: list[tuple[int, float]] = []
    drawn: list[tuple[int, float]] = []
    flips = [0]
    take, page = running.desk.take, running.pages.get_screen("metering")

    def seen() -> bool:
        """The page shows the state after the last answer: the next light, or the table when all are metered."""
        shot = running.desk.shot
        return running.place == "set" if shot.done else page.ids.headline.text == metering_look(shot).headline

    def timed(measurement: Any) -> Any:
        outcome = take(measurement)
        answered.append((flips[0], time.monotonic()))
        return outcome

    def flipped(_window: object) -> None:
        flips[0] += 1
        if len(drawn) < len(answered) and seen():
            drawn.append((flips[0], time.monotonic()))

    Window.bind(on_flip=flipped)
    running.desk.take = timed
    for _ in range(POPS):
        if running.desk.shot.waiting is None:
            await running.run(running.desk.begin)
            running.go("metering")
        before = len(answered)
        running.fire()
        while len(answered) == before or len(drawn) < len(answered):
            await asyncio.sleep(0.001)
        await asyncio.sleep(0.8)
    frames = [d[0] - a[0] for a, d in zip(answered, drawn, strict=True)]
    figures["pop_frames"] = max(frames)
    figures["pop_ms"] = 1000 * statistics.median(d[1] - a[1] for a, d in zip(answered, drawn, strict=True))


if __name__ == "__main__":
    if len(sys.argv) > 1:
        run_child(sys.argv[1])
    else:
        raise SystemExit(0 if main() else 1)
