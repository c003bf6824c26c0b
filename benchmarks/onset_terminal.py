"""A photographer at a terminal: types commands, fires what is waited for, and a sensor on a line that takes its time.

The commands run as processes of their own; the sensor is ``ChipModel`` behind a socket, or the firmware on its simulated chip
(``onset_firmware``).  The model's bytes leave when the record is full, at the speed of the real line.  Works with any version
of meterlink that speaks wire format v1.
"""

from __future__ import annotations

import asyncio
import json
import os
import re
import sys
import time
from math import log2
from pathlib import Path
from typing import Any, NamedTuple

from benchmarks.onset_days import Day, Slip, Step
from benchmarks.onset_scene import Scene
from meterlink.simulation.chip_model import INTERVAL_S, PRETRIGGER, RING, ChipModel
from meterlink.simulation.studio import Pulse

BAUD = 250_000
FRAME_S = 1 / 60
CONSTANT = 330.0
"""C of the dome by design, lx."""
RIGHT_STOPS = 0.2
"""A figure this near the truth is right: the limit of a good reading."""
BETWEEN_POPS_S = 1.1
NOTICED_S = 2.5
"""So long after a flash nothing said is nothing seen: she fires again."""
GIVES_UP = 8
WAITING = re.compile(r"waiting for ([^:]+): fire (\S+)(?: (with|without) it)?")
LOGGED = re.compile(r"  (\S.*?) (?:f/|adds|with |without )")
QUESTION = re.compile(r"\?|press Enter|one more pop|fire it again|once more")


class Counts(NamedTuple):
    """What a day cost."""

    pops: int = 0
    needed: int = 0
    keys: int = 0
    """Typed or touched to have the lights metered, without those for the pop of all and the room."""
    lights: int = 0
    questions: int = 0
    seconds: tuple[tuple[float, float], ...] = ()
    """Flash to figure, beside what record, wire and one frame need."""
    table: str = "right"
    """``right``, ``says what is wrong``, or what is wrong with it."""

    @property
    def keys_a_light(self) -> float:
        """Keys or touches to meter one light."""
        return self.keys / self.lights if self.lights else 0.0


def judged(day: Day, scene: Scene, rows: list[dict[str, Any]], alarms: set[str]) -> str:
    """Say whether a table is right: every figure within 0.2 stop of the truth, or its light is spoken against."""
    said = {row["light"] for row in rows if row["verdict"] == "retake"} | alarms
    off = []
    for row in rows:
        if row["corrected_f"] is None:
            off.append(f"{row['light']} has none")
            continue
        true_f = (scene.at_point(row["light"]) * 100 / CONSTANT) ** 0.5
        stops = 2 * log2(row["corrected_f"] / true_f)
        if abs(stops) > RIGHT_STOPS and row["light"] not in said:
            off.append(f"{row['light']} {stops:+.1f}")
    if off:
        return "wrong: " + ", ".join(off)
    if day.wrong:
        return "says what is wrong" if day.wrong in said else f"does not name {day.wrong}"
    return "right"


class Sensor:
    """One sensor on a socket; time passes for it as for a real one."""

    def __init__(self, seed: int) -> None:
        self.chip = ChipModel(seed=seed)
        self.start_s = time.monotonic()
        self.writer: asyncio.StreamWriter | None = None
        self.server: asyncio.Server | None = None
        self.need_s = 0.0
        self._line = asyncio.Lock()
        """One message at a time is on the line."""

    async def open(self) -> str:
        """Begin; return its URL."""
        self.server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        return f"socket://127.0.0.1:{self.server.sockets[0].getsockname()[1]}"

    async def close(self) -> None:
        """End."""
        assert self.server is not None
        self.server.close()

    def _now_s(self) -> float:
        return time.monotonic() - self.start_s

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.writer = writer
        writer.write(self.chip.restart())
        steady = asyncio.ensure_future(self._steady(writer))
        try:
            while data := await reader.read(4096):
                writer.write(self.chip.hear(data, self._now_s()))
        except ConnectionError:
            pass
        finally:
            steady.cancel()
            writer.close()
            if self.writer is writer:
                self.writer = None

    async def _steady(self, writer: asyncio.StreamWriter) -> None:
        while True:
            await asyncio.sleep(1.0 / max(1, self.chip.steady_rate_hz))
            if self.chip.steady_rate_hz:
                async with self._line:
                    writer.write(self.chip.steady(self._now_s()))

    async def flash(self, pulse: Pulse, *, damaged: bool = False) -> None:
        """A flash.  ``need_s`` is what record and wire take here: up to the last byte, by this run's own clock."""
        begun_s = time.monotonic()
        shown = self.chip.pop(pulse, self._now_s())
        if shown is None or self.writer is None:
            return
        record_s = (RING - PRETRIGGER) * INTERVAL_S * self.chip.factor
        block = bytearray(shown.block)
        if damaged:
            block[len(block) // 2] ^= 4
        # The model works out the record while a sensor takes it.
        await asyncio.sleep(begun_s + record_s - time.monotonic())
        async with self._line:
            self.need_s = await self._send(shown.notice + bytes(block)) - begun_s

    async def _send(self, data: bytes) -> float:
        """Send as fast as the line does; return when the last byte left."""
        sent, begun_s = 0, time.monotonic()
        left_s = begun_s
        while sent < len(data) and self.writer is not None:
            due = min(len(data), int((time.monotonic() - begun_s) * BAUD / 10) + 16)
            self.writer.write(data[sent:due])
            sent, left_s = due, time.monotonic()
            await asyncio.sleep(0.001)
        return left_s


class Photographer:
    """One day at a terminal."""

    def __init__(self, day: Day, root: Path, folder: Path, *, before: bool, sensor: Any = None) -> None:
        self.day, self.root, self.before = day, root, before
        self.scene = Scene(day.lights)
        self.sensor = sensor or Sensor(len(day.name))
        self.environment = {
            **os.environ, "METERLINK_LIBRARY": str(folder / f"{abs(hash(day.name))}.sqlite"), "PYTHONPATH": str(root),
            "PYTHONUNBUFFERED": "1", "METERLINK_LANGUAGE": "en", "METERLINK_SENSOR": "",
        }  # fmt: skip
        self.pops = self.keys = self.questions = 0
        self.seconds: list[tuple[float, float]] = []
        self.heard: list[str] = []
        self.history: list[str] = []

    async def live(self) -> Counts:
        """Go through the day."""
        self.environment["METERLINK_SENSOR"] = await self.sensor.open()
        await self._describe()
        for step in self.day.steps:
            await self._step(step)
        await self.sensor.close()
        rows, findings = json.loads(await self._run("ratios", "--json")), json.loads(await self._run("checks", "--json"))
        alarms = {one["light"] for one in findings if one["rank"] != "note"}
        needed = sum(step.needs for step in self.day.steps)
        table = judged(self.day, self.scene, rows, alarms)
        lights = sum(step.lights for step in self.day.steps)
        return Counts(self.pops, needed, self.keys, lights, self.questions, tuple(self.seconds), table)

    async def _describe(self) -> None:
        await self._run("setup", "new", "Day", "--iso", "100", "--shutter", "1/160", "--sync", "1/200")
        for one in self.day.lights:
            words = [
                "light", "add", one.name, "--role", one.role, "--distance", f"{one.distance_m}m",
                f"--azimuth={one.azimuth_deg:.0f}", "--elevation", f"{one.elevation_deg:.0f}",
            ]  # fmt: skip
            if one.source:
                words += ["--reflector-of", one.source, "--rectangle", "100x100cm"]
            else:
                power = f"{one.dial_stops:.1f}" if one.dial_stops else "1/1"
                words += ["--disk", f"{one.width_m * 100:.0f}cm", f"--power={power}", "--fixture", one.name]
            await self._run(*words)

    async def _run(self, *words: str) -> str:
        process = await self._start(*words)
        out, _ = await process.communicate()
        return out.decode()

    async def _start(self, *words: str) -> asyncio.subprocess.Process:
        return await asyncio.create_subprocess_exec(
            sys.executable, "-m", "meterlink.cli.main", *words, env=self.environment, cwd=self.root,
            stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.STDOUT,
        )  # fmt: skip

    async def _step(self, step: Step) -> None:
        for name, stops in step.turns.items():
            self.scene.lights[name] = self.scene.lights[name].turned(stops)
        for name, metres in step.moves.items():
            self.scene.lights[name] = self.scene.lights[name].moved(metres)
        for words in step.before if self.before and step.before else (step.words,):
            self._typed(words, counts=step.lights > 0)
            if words[0] in ("meter", "match"):
                await self._walk(words, step)
            else:
                self.heard = (await self._run(*words)).splitlines()
                if step.advice:
                    await self._advised(words)

    def _typed(self, words: tuple[str, ...], *, counts: bool) -> None:
        """Count the keys of a command: what was typed before is brought back by arrow up."""
        line = "meterlink " + " ".join(words)
        back = self.history[::-1].index(line) + 1 if line in self.history else len(line)
        self.history.append(line)
        self.keys += counts * (min(back, len(line)) + 1)

    async def _advised(self, words: tuple[str, ...]) -> None:
        """Turn what the table of targets says, and record it."""
        for row in json.loads(await self._run(*words, "--json"))["rows"]:
            name, dial_stops = row["light"], row["move"]["power_stops"]
            if dial_stops is not None:
                self.turn(name, dial_stops - self.scene.lights[name].dial_stops)
                await self._run("light", "move", name, f"--power={dial_stops:.2f}")

    def turn(self, name: str, stops: float) -> None:
        """Turn a dial."""
        self.scene.lights[name] = self.scene.lights[name].turned(stops)

    async def _walk(self, words: tuple[str, ...], step: Step) -> None:
        process = await self._start(*words)
        walk = Walking(self, process, step)
        try:
            await asyncio.wait_for(walk.through(), 60.0)
        except TimeoutError:
            process.kill()
            self.questions += 1
            self.heard.append("never ended")


class Walking:
    """She follows the lines of one walk."""

    def __init__(self, person: Photographer, process: asyncio.subprocess.Process, step: Step) -> None:
        self.person, self.process, self.step = person, process, step
        self.slips = dict(step.slips)
        self.waiting = ""
        self.how = ""
        self.again = asyncio.Event()
        self.fired_at_s: float | None = None
        """When the flash was that nothing was said of yet."""
        self.fired = 0
        self.served: set[str] = set()

    async def through(self) -> None:
        """Until the command ends."""
        firing = asyncio.ensure_future(self._fire())
        assert self.process.stdout is not None
        try:
            while line := await self.process.stdout.readline():
                self._hear(line.decode().rstrip(), time.monotonic())
        finally:
            firing.cancel()
            if self.process.stdin is not None:
                self.process.stdin.close()
        await self.process.wait()

    def _hear(self, line: str, now_s: float) -> None:
        self.person.heard.append(line)
        found = WAITING.match(line)
        if found:
            self.waiting, self.how, self.fired = found[1], found[3] or "", 0
            if self.waiting in self.served and self.waiting in self.step.turns:
                self.person.turn(self.waiting, -self.step.turns[self.waiting])  # she does what was advised
            self.again.set()
        elif line.startswith("! "):
            if QUESTION.search(line):
                self.person.questions += 1
            if self.fired_at_s is not None and "stray" not in line:
                self.fired_at_s = None
                self.again.set()
        elif self.fired_at_s is not None and LOGGED.match(line):
            self.person.seconds.append((now_s - self.fired_at_s, self.person.sensor.need_s + FRAME_S))
            self.fired_at_s = None
            self.served.add(self.waiting)
            self._afterwards(self.waiting)

    def _afterwards(self, name: str) -> None:
        slip = self.slips.pop(name, Slip())
        if slip.said_after:
            if self.person.before:
                self.slips[name] = slip._replace(said_after="")
                self._type("u")  # the pop is taken back; the distance cannot be said any more
            else:
                self._type(slip.said_after)
        if slip.stray:
            asyncio.get_running_loop().call_later(
                0.4, lambda: asyncio.ensure_future(self.person.sensor.flash(Pulse(50.0)))
            )
        if self.step.quit_after == name:
            self._type("q")

    def _type(self, text: str) -> None:
        self.person.keys += len(text) + 1
        assert self.process.stdin is not None
        self.process.stdin.write(f"{text}\n".encode())

    async def _fire(self) -> None:
        while True:
            await self.again.wait()
            self.again.clear()
            await asyncio.sleep(BETWEEN_POPS_S)
            self.fired += 1
            if self.fired > GIVES_UP:
                self.process.kill()
                return
            self.person.pops += 1
            slip = self.slips.get(self.waiting, Slip())
            if slip.lost:
                self.slips[self.waiting] = slip._replace(lost=False)
            pulse = self._pulse(slip)
            self.fired_at_s = time.monotonic()
            await self.person.sensor.flash(pulse, damaged=slip.lost)
            asyncio.get_running_loop().call_later(NOTICED_S, self._unnoticed, self.fired_at_s)

    def _unnoticed(self, fired_at_s: float) -> None:
        """Nothing was said of a flash: she fires again."""
        if self.fired_at_s == fired_at_s:
            self.again.set()

    def _pulse(self, slip: Slip) -> Pulse:
        scene = self.person.scene
        if self.waiting == "all together":
            return scene.together()
        if self.how:
            return scene.card(self.waiting, with_it=self.how == "with")
        return scene.alone(self.waiting, slip.held_m)
