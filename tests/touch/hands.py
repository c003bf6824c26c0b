"""Hands and eyes for the app in a real window: an X server of its own, pointer and keys from outside, pictures."""

from __future__ import annotations

import ctypes
import json
import multiprocessing
import os
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, NamedTuple

from tests.touch.app_process import forked

ROOT = Path(__file__).resolve().parents[2]
FORKS = multiprocessing.get_context("forkserver")
FORKS.set_forkserver_preload(["tests.touch.warm"])
PATIENCE_S = 20.0
"""What has not come by then will not come, even on a busy machine."""
SCREEN = "1600x1600x24"
GAP_S = 0.8
"""Two pops closer than the library's limit (0.7 s) are one."""


def why_not() -> str | None:
    """What is missing for a real window, in words; None if nothing is."""
    missing = [package for tool, package in (("Xvfb", "xvfb"), ("xdotool", "xdotool")) if shutil.which(tool) is None]
    for name in ("libEGL.so.1", "libGL.so.1"):
        try:
            ctypes.CDLL(name)
        except OSError:
            missing.append({"libEGL.so.1": "libegl1", "libGL.so.1": "libgl1"}[name])
    return f"a real window needs these Debian packages: {' '.join(missing)}" if missing else None


@contextmanager
def x_server() -> Iterator[str]:
    """An X server with a display number that nobody else has; yields its name."""
    reading, writing = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(writing), "-screen", "0", SCREEN, "-nolisten", "tcp", "-noreset"],
        pass_fds=(writing,),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(writing)
    try:
        with os.fdopen(reading) as answer:
            number = answer.readline().strip()
        if not number:
            raise RuntimeError("Xvfb did not start")
        yield f":{number}"
    finally:
        server.terminate()
        server.wait(10)


class Thing(NamedTuple):
    """One text or target on the screen; boxes are left, top, right, bottom in pixels from the upper left corner."""

    name: str
    kind: str
    text: str
    target: bool
    box: tuple[float, float, float, float]
    ink: tuple[float, float, float, float]
    """Where its letters are."""
    clip: tuple[float, float, float, float]
    """The part of the window that it can be seen in."""
    font_px: float
    drawn: bool
    verdict: str = ""
    chosen: bool = False
    strong: bool = False
    """It has the face of the one thing to do next."""
    colour: tuple[float, float, float] | None = None
    torn: str = ""
    """A word of it that goes on in the next line, or a hint that is longer than its field."""

    @property
    def seen(self) -> float:
        """Part of its letters (or its box) that is inside what can be seen, 0 to 1."""
        area = _area(self.ink)
        return _area(common(self.ink, self.clip)) / area if area > 0 else 0.0

    def middle_of_box(self) -> float:
        """Height of its middle, seen or not."""
        return (self.box[1] + self.box[3]) / 2

    @property
    def middle(self) -> tuple[float, float]:
        """The middle of the part that can be seen."""
        left, top, right, bottom = common(self.box, self.clip)
        return (left + right) / 2, (top + bottom) / 2


def common(a: tuple[float, ...], b: tuple[float, ...]) -> tuple[float, float, float, float]:
    """The part that two boxes share; without area when they share none."""
    return max(a[0], b[0]), max(a[1], b[1]), min(a[2], b[2]), min(a[3], b[3])


def _area(box: tuple[float, float, float, float]) -> float:
    return max(box[2] - box[0], 0.0) * max(box[3] - box[1], 0.0)


class Screen:
    """What was on the screen at one moment."""

    def __init__(self, said: dict[str, Any]) -> None:
        self.said = said
        self.place: str = said["place"]
        self.width, self.height = said["size"]
        self.things = [
            Thing(
                o["name"], o["kind"], o["text"], o["target"], tuple(o["box"]), tuple(o["ink"]), tuple(o["clip"]),
                o["font_px"], o["drawn"], o.get("verdict", ""), o.get("chosen", False), o.get("strong", False),
                tuple(o["colour"]) if o.get("colour") else None, o.get("torn", ""),
            )
            for o in said["things"]
        ]  # fmt: skip

    def find(self, name: str) -> Thing | None:
        """The thing of this name that can be seen at least in part."""
        return next((one for one in self.things if one.name == name and one.seen > 0.05), None)

    def any(self, name: str) -> Thing | None:
        """The thing of this name, seen or scrolled away."""
        return next((one for one in self.things if one.name == name), None)

    def text(self, name: str) -> str:
        """Its text; empty when it is not there."""
        found = self.find(name)
        return found.text if found else ""

    @property
    def texts(self) -> list[Thing]:
        """Every text that can be seen."""
        return [one for one in self.things if one.text.strip() and one.seen > 0.05]

    def says(self, words: str) -> bool:
        """Whether these words can be read anywhere."""
        return any(words in one.text for one in self.texts)


class Phone:
    """The app in a window, and a hand."""

    def __init__(self, display: str, folder: Path, library: Path, size: tuple[int, int], url: str) -> None:
        self.display, self.folder, self.library = display, folder, library
        self.size, self.url = size, url
        self.taps = 0
        self.pops = 0
        self._popped_at = 0.0
        self.env = {
            **os.environ,
            "DISPLAY": display,
            "LIBGL_ALWAYS_SOFTWARE": "1",
            "SDL_VIDEODRIVER": "x11",
            "PYTHONPATH": str(ROOT),
            "PATH": f"{folder}:{os.environ['PATH']}",
            "METERLINK_TEST_SPEECH": str(folder / "said.txt"),
        }
        self._stub_speech()
        self.start()

    def _stub_speech(self) -> None:
        """A speech engine that writes down what it was told."""
        stub = self.folder / "espeak"
        stub.write_text('#!/bin/sh\nprintf "%s\\n" "$*" >> "$METERLINK_TEST_SPEECH"\n')
        stub.chmod(0o755)

    # -- the process --------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Start the app and wait for its first page."""
        # Unix sockets have short names: a folder of its own, not pytest's long one.
        self._home = tempfile.mkdtemp(prefix="touch")
        path = f"{self._home}/s"
        argv = [str(self.library), path, *map(str, self.size), *([self.url] if self.url else [])]
        self.process = FORKS.Process(target=forked, args=(argv, self.env, str(self.folder / "out.txt")), daemon=True)
        self.process.start()
        end_s = time.monotonic() + PATIENCE_S
        self._socket: socket.socket | None = None
        while self._socket is None:
            if not self.process.is_alive() or time.monotonic() > end_s:
                raise AssertionError(f"the app did not start: {(self.folder / 'out.txt').read_text()[-2000:]}")
            one = socket.socket(socket.AF_UNIX)
            try:
                one.connect(path)
                self._socket = one
            except OSError:
                one.close()
                time.sleep(0.05)
        self._file = self._socket.makefile("rw")
        self.until(lambda s: s.place, "the first page")
        self.window = str(self.ask("window"))
        self._xdo("windowfocus", "--sync", self.window)

    def kill(self) -> None:
        """End the process without a word, as a phone does."""
        self.process.kill()
        self.process.join(10)

    def close(self) -> None:
        """End, as a phone ends what is not looked at."""
        if self.process.is_alive():
            self.kill()
        with suppress(OSError):
            self._file.close()
        if self._socket is not None:
            self._socket.close()
        shutil.rmtree(self._home, ignore_errors=True)

    # -- asking -------------------------------------------------------------------------------------------------

    def ask(self, ask: str, **more: Any) -> Any:
        """Ask the debug socket."""
        self._file.write(json.dumps({"ask": ask, **more}) + "\n")
        self._file.flush()
        line = self._file.readline()
        if not line:
            raise AssertionError(f"the app died: {(self.folder / 'out.txt').read_text()[-3000:]}")
        answer = json.loads(line)
        if isinstance(answer, dict) and "error" in answer:
            raise AssertionError(answer["error"])
        return answer

    def screen(self) -> Screen:
        """What is on the screen now; what the app did not expect is raised here."""
        said = self.ask("screen")
        assert not said["failures"], said["failures"]
        return Screen(said)

    def until(self, condition: Callable[[Screen], Any], what: str, patience_s: float = PATIENCE_S) -> Screen:
        """Wait until something is so; fails with ``what`` and the texts seen when it does not come."""
        end_s = time.monotonic() + patience_s
        while True:
            now = self.screen()
            if condition(now):
                return now
            if time.monotonic() > end_s:
                raise AssertionError(f"never came: {what}; on the screen: {[t.text for t in now.texts]}")
            time.sleep(0.03)

    def settled(self) -> Screen:
        """Wait until no work is under way and some frames show the same; the app looks itself, frame by frame."""
        said = self.ask("settled", patience_s=PATIENCE_S)
        assert not said["failures"], said["failures"]
        return Screen(said)

    @property
    def said(self) -> list[str]:
        """What was spoken."""
        path = self.folder / "said.txt"
        return path.read_text().splitlines() if path.exists() else []

    # -- touching -----------------------------------------------------------------------------------------------

    def _xdo(self, *args: str) -> str:
        done = subprocess.run(["xdotool", *args], env=self.env, capture_output=True, text=True, timeout=20, check=True)
        return done.stdout

    def press(
        self, x: float, y: float, *path: tuple[float, float], hold_s: float = 0.0, step_s: float = 0.02, rest_s: float = 0.03
    ) -> None:
        """Put the finger down, hold it, move it along, rest, lift it."""
        at = ("mousemove", f"{x:.0f}", f"{y:.0f}")
        if not path and hold_s == 0.0:
            self._xdo(*at, "sleep", "0.02", "mousedown", "1", "sleep", "0.04", "mouseup", "1")
            return
        steps: list[str] = [*at, "sleep", "0.02", "mousedown", "1", "sleep", f"{hold_s}"]
        last = (x, y)
        for to in path:
            for part in (0.25, 0.5, 0.75, 1.0):
                px, py = (a + (b - a) * part for a, b in zip(last, to, strict=True))
                steps += ["mousemove", f"{px:.0f}", f"{py:.0f}", "sleep", f"{step_s}"]
            last = to
        self._xdo(*steps, "sleep", f"{rest_s}", "mouseup", "1")

    def reach(self, name: str) -> Thing:
        """Bring a thing into sight by dragging the page, as a hand does; return it."""
        for _ in range(14):
            now = self.until(lambda s: s.any(name), f"{name} on the page")
            thing = now.any(name)
            assert thing is not None
            left, top, _right, bottom = thing.clip
            if (thing.box[1] >= top - 1 and thing.box[3] <= bottom + 1) or (
                thing.box[3] - thing.box[1] > bottom - top and thing.seen > 0
            ):
                return thing
            # Dragged in the gap at the page's edge, where nothing can be moved by it.
            x, away = left + 4, min(max(thing.middle_of_box() - (top + bottom) / 2, -0.6 * (bottom - top)), 0.6 * (bottom - top))
            y = (top + bottom) / 2
            self.press(x, y + away / 2, (x, y - away / 2), step_s=0.03, rest_s=0.25)
            self.settled()
        raise AssertionError(f"{name} cannot be brought into sight")

    def tap(self, name: str) -> Screen:
        """Tap a thing at its middle; it must be as large as a finger needs."""
        thing = self.reach(name)
        width, height = thing.box[2] - thing.box[0], thing.box[3] - thing.box[1]
        assert min(width, height) >= 47.5, f"{name} is too small to hit: {width:.0f} x {height:.0f}"
        self.taps += 1
        self.press(*thing.middle)
        return self.settled()

    def key(self, name: str) -> Screen:
        """Press a key: ``Escape`` is what Android's back key arrives as."""
        self._xdo("key", name)
        return self.settled()

    def type(self, name: str, text: str) -> Screen:
        """Type into a field, replacing what stands there, and enter it."""
        self.tap(name)
        self._xdo("key", "ctrl+a", "sleep", "0.05", "type", "--delay", "15", text)
        self._xdo("key", "Return")
        return self.settled()

    def turn(self, width: int, height: int) -> Screen:
        """Give the window another size, as turning the phone does."""
        self._xdo("windowsize", "--sync", self.window, str(width), str(height))
        self.until(lambda s: (s.width, s.height) == (width, height), f"a window of {width} x {height}")
        self.size = (width, height)
        return self.settled()

    def wear(self, theme: str, text_scale: float) -> Screen:
        """Change theme and text size while it runs."""
        self.ask("wear", theme=theme, text_scale=text_scale)
        return self.settled()

    def show(self, place: str, light: str = "") -> Screen:
        """Show a page."""
        self.ask("show", place=place, light=light)
        return self.settled()

    # -- light --------------------------------------------------------------------------------------------------

    def ready(self) -> Screen:
        """Wait until the sensor says who it is."""
        return self.until(lambda s: s.said["ready"], "the sensor is ready")

    def pop(self, **how: Any) -> Screen:
        """Fire one light of the simulated set and wait for what becomes of it."""
        time.sleep(max(self._popped_at + GAP_S - time.monotonic(), 0.0))
        before = self.screen().said["outcomes"]
        self.pops += 1
        self.ask("fire", **how)
        self._popped_at = time.monotonic()
        self.until(lambda s: s.said["outcomes"] > before, "the pop is told")
        return self.settled()

    # -- pictures -----------------------------------------------------------------------------------------------

    def picture(self, path: Path | None = None) -> Any:
        """Return what the X server shows of the window, as an image; also written to ``path`` when given."""
        from PIL import ImageGrab

        image = ImageGrab.grab(bbox=(0, 0, *self.size), xdisplay=self.display)
        if path is not None:
            path.parent.mkdir(parents=True, exist_ok=True)
            image.quantize(32).save(path, optimize=True)
        return image
