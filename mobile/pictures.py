"""Pictures of every page, in both themes and three sizes: ``python -m mobile.pictures FOLDER``; ``--parts`` for all parts.

Runs the real app in a window that nobody sees (SDL's offscreen driver; needs libEGL and libGL), on a library of its own
with the demo set and the simulated sensor.
"""

from __future__ import annotations

import argparse
import asyncio
import logging
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from meterlink.judging.judged_set import value_of
from meterlink.library.store import Library
from meterlink.simulation.studio import Pulse
from mobile.environment import keep_apart

if TYPE_CHECKING:
    from mobile.main import MeterApp

SIZES = ((360, 640), (640, 400), (1280, 800))
THEMES = ("amber", "paper")
PAGES = ("first", "metering", "lights", "light", "set", "match", "library", "sensors", "settings", "more")


def hidden_window(width: int, height: int) -> None:
    """Prepare kivy for a window without a screen; call it before kivy is imported."""
    keep_apart()
    os.environ.update(SDL_VIDEODRIVER="offscreen", KIVY_WINDOW="sdl2")
    # What this window cannot do (clipboard, touch screens) is no news here.
    logging.getLogger().addHandler(logging.NullHandler())
    from kivy.config import Config

    for name, value in (("width", width), ("height", height), ("multisamples", 0)):
        Config.set("graphics", name, str(value))


def save_window(path: Path) -> None:
    """Write what the window shows as a PNG."""
    from kivy.core.window import Window
    from kivy.graphics.opengl import GL_RGB, GL_UNSIGNED_BYTE, glReadPixels
    from PIL import Image

    pixels = bytes(glReadPixels(0, 0, *Window.size, GL_RGB, GL_UNSIGNED_BYTE))
    Image.frombytes("RGB", Window.size, pixels).transpose(Image.Transpose.FLIP_TOP_BOTTOM).save(path, optimize=True)


async def _frames(count: int = 6) -> None:
    for _ in range(count):
        await asyncio.sleep(0.03)


async def _prepare(app: MeterApp) -> None:
    """The demo set, a rebuild whose key gave half a stop more, a walk whose key is to be retaken, and the simulated sensor."""
    from mobile.demo_set import open_demo

    await app.run(open_demo, app.desk)
    assert app.desk.shot.setup is not None
    app.demo_id = app.desk.shot.setup.id
    backdrop = app.desk.shot.lights[-1]
    given_lxs = value_of(app.desk.shot.view.lights[0].reading) or 0.0
    await app.run(app.desk.match_to, app.demo_id)
    app.rebuilt_id = app.desk.shot.setup.id
    app.simulate()
    while not app.sensors.status.ready:
        await _frames(1)
    await _pop(app, given_lxs * 2**0.5)
    await app.run(app.desk.use, app.demo_id)
    await app.run(lambda: app.desk.move_light(backdrop.id, power_stops=-1.0, power_text="1/2"))
    await app.run(lambda: app.desk.remember(free_order=False))
    await app.run(app.desk.copy, app.demo_id)
    app.walk_id = app.desk.shot.setup.id
    await app.run(app.desk.hold_off, app.desk.shot.lights[0].id, 0.7)
    await asyncio.sleep(0.9)  # two nearer pops are one to the library
    await _pop(app, given_lxs)


async def _pop(app: MeterApp, exposure_lxs: float) -> None:
    """Let the simulated light that waits give this, and wait until it is read."""
    before = app.desk.shot.last
    for _ in range(4):
        app.sensors.simulator.pop(Pulse(exposure_lxs))
        for _ in range(60):
            await _frames(1)
            if app.desk.shot.last != before:
                return
        await asyncio.sleep(0.9)
    raise RuntimeError("the simulated sensor heard no pop")


async def _show(app: MeterApp, page: str) -> None:
    if page == "light":
        app.go("lights")
        app.page.open(app.desk.shot.lights[0].id)
    else:
        app.go(page)
        if page == "lights":
            app.page.close()


async def take(
    app: MeterApp, folder: Path, size: tuple[int, int], text_scale: float = 1.0, pages: tuple[str, ...] = PAGES
) -> list[Path]:
    """Take all pictures at one size of window; return where they are."""
    from mobile.page import PAGES as BUILT

    written = []
    for theme in THEMES:
        await app.run(app.desk.remember, theme=theme, text_scale=text_scale, speech=False, vibration=False)
        app.wear()
        for page in pages:
            if (page if page != "light" else "lights") not in (*BUILT, "parts"):
                continue
            shown_id = app.demo_id if page in ("set", "light") else app.walk_id if page == "metering" else app.rebuilt_id
            await app.run(app.desk.use, shown_id)
            await _show(app, page)
            await _frames()
            path = folder / f"{page}-{theme}-{size[0]}x{size[1]}{'-large' if text_scale > 1 else ''}.png"
            save_window(path)
            written.append(path)
    return written


async def _one_size(folder: Path, size: tuple[int, int], text_scale: float, pages: tuple[str, ...]) -> None:
    from mobile.main import MeterApp, amain

    with tempfile.TemporaryDirectory() as home:
        app = MeterApp(Library.open(Path(home) / "pictures.db"), finders=())

        async def drive() -> None:
            try:
                await _frames(10)
                await _prepare(app)
                for path in await take(app, folder, size, text_scale, pages):
                    print(path)
            finally:
                # What is under way builds widgets, which need the app.
                await _frames(12)
                app.stop()

        driving = asyncio.create_task(drive())
        await amain(app)
        await driving
        if app.failures:
            raise app.failures[0]


def _size(text: str) -> tuple[int, int]:
    """``360x640``."""
    width, _, height = text.partition("x")
    if not (width.isdecimal() and height.isdecimal() and 100 <= int(width) <= 8000 and 100 <= int(height) <= 8000):
        raise argparse.ArgumentTypeError(f"'{text[:20]}': give WIDTHxHEIGHT in pixels, 100 to 8000, e.g. 360x640")
    return int(width), int(height)


def _percent(text: str) -> float:
    """``150``, as a scale."""
    if not (text.isdecimal() and 50 <= int(text) <= 400):
        raise argparse.ArgumentTypeError(f"'{text[:20]}': give the size of text in percent, 50 to 400")
    return int(text) / 100


def main(argv: list[str] | None = None) -> int:
    """Take the pictures: one process for each size, since kivy has one window a process."""
    parser = argparse.ArgumentParser(prog="python -m mobile.pictures", description="Pictures of every page, in both themes.")
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="where they go; made if it is not there")
    parser.add_argument("size", nargs="?", type=_size, metavar="WIDTHxHEIGHT", help="only this size (default: three sizes)")
    parser.add_argument("text", nargs="?", type=_percent, default=1.0, metavar="TEXT_PERCENT", help="size of text (default 100)")
    parser.add_argument("--parts", action="store_true", help="one page with all building blocks instead, at 1280x800")
    args = parser.parse_args(argv)
    size = (1280, 800) if args.parts and args.size is None else args.size
    try:
        args.folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        parser.error(f"{args.folder}: {error.strerror}: give another folder")
    if size is None:
        for width, height in SIZES:
            command = [sys.executable, "-m", "mobile.pictures", "--", str(args.folder), f"{width}x{height}"]
            done = subprocess.run(command, check=False)
            if done.returncode:
                return done.returncode
        return 0
    hidden_window(*size)
    asyncio.run(_one_size(args.folder, size, args.text, ("parts",) if args.parts else PAGES))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
