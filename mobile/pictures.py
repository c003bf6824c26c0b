"""Pictures of every page, in both themes and three sizes: ``python -m mobile.pictures FOLDER``; ``--parts`` for all parts.

Runs the real app in a window that nobody sees (SDL's offscreen driver; needs libEGL and libGL), on a library of its own
with the demo set and the simulated sensor.
"""

from __future__ import annotations

import asyncio
import os
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from mobile.main import MeterApp

SIZES = ((360, 640), (640, 400), (1280, 800))
THEMES = ("amber", "paper")
PAGES = ("first", "metering", "lights", "light", "set", "match", "library", "sensors", "settings", "more")


def hidden_window(width: int, height: int) -> None:
    """Prepare kivy for a window without a screen; call it before kivy is imported."""
    os.environ.update(
        SDL_VIDEODRIVER="offscreen",
        KIVY_WINDOW="sdl2",
        KIVY_NO_ARGS="1",
        KIVY_NO_CONFIG="1",
        KIVY_NO_FILELOG="1",
        KIVY_NO_CONSOLELOG="1",
        KIVY_LOG_MODE="PYTHON",
        KIVY_METRICS_DENSITY="1",
        KIVY_DPI="160",
        KIVY_CLIPBOARD="dummy",
    )
    import logging

    # What this window cannot do (clipboard, touch screens) is no news here.
    logging.getLogger().addHandler(logging.NullHandler())
    from kivy.config import Config

    for name, value in (("width", width), ("height", height), ("multisamples", 0)):
        Config.set("graphics", name, str(value))


def save_window(path: Path) -> None:
    """Write what the window shows as a PNG."""
    from kivy.core.window import Window
    from kivy.graphics.opengl import GL_RGB, GL_UNSIGNED_BYTE, glReadPixels

    width, height = Window.size
    pixels = bytes(glReadPixels(0, 0, width, height, GL_RGB, GL_UNSIGNED_BYTE))
    rows = [pixels[y * width * 3 : (y + 1) * width * 3] for y in range(height - 1, -1, -1)]
    path.write_bytes(png(width, height, rows))


def png(width: int, height: int, rows: list[bytes]) -> bytes:
    """Return an 8-bit RGB picture as a PNG file (each row stored as its difference from the one above)."""
    import struct
    import zlib

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    above, filtered = bytes(width * 3), []
    for row in rows:
        filtered.append(b"\x02" + bytes((a - b) & 255 for a, b in zip(row, above, strict=True)))
        above = row
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = zlib.compress(b"".join(filtered), 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


async def _frames(count: int = 6) -> None:
    for _ in range(count):
        await asyncio.sleep(0.03)


async def _prepare(app: MeterApp) -> None:
    """The demo set, a rebuild of it that is half matched, and the simulated sensor."""
    from mobile.demo_set import open_demo

    await app.run(open_demo, app.desk)
    assert app.desk.shot.setup is not None
    app.demo_id = app.desk.shot.setup.id
    backdrop = app.desk.shot.lights[-1]
    await app.run(app.desk.match_to, app.demo_id)
    key = app.desk.shot.lights[0]
    await app.run(lambda: app.desk.move_light(key.id, power_stops=-2.4, power_text="1/8 +0.6"))
    app.simulate()
    while not app.sensors.status.ready:
        await _frames(1)
    for _ in range(4):
        waiting = app.desk.shot.waiting
        before = app.desk.shot.position
        app.fire((waiting.held_off_m if waiting else None) or 0.0)
        for _ in range(60):
            await _frames(1)
            if app.desk.shot.position != before:
                break
        if app.desk.shot.position >= 1:
            break
        await asyncio.sleep(0.9)
    await app.run(app.desk.use, app.demo_id)
    await app.run(lambda: app.desk.move_light(backdrop.id, power_stops=-1.0, power_text="1/2"))
    rebuilt = next(s for s in app.desk.library.setups() if s.id != app.demo_id)
    await app.run(app.desk.use, rebuilt.id)


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
            if page in ("set", "light"):
                await app.run(app.desk.use, app.demo_id)
            await _show(app, page)
            await _frames()
            path = folder / f"{page}-{theme}-{size[0]}x{size[1]}{'-large' if text_scale > 1 else ''}.png"
            save_window(path)
            written.append(path)
            if page in ("set", "light"):
                other = next(s for s in app.desk.library.setups() if s.id != app.demo_id)
                await app.run(app.desk.use, other.id)
    return written


async def _one_size(folder: Path, size: tuple[int, int], text_scale: float, pages: tuple[str, ...]) -> None:
    from meterlink.library.store import Library
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


def main(argv: list[str] | None = None) -> int:
    """Take the pictures: one process for each size, since kivy has one window a process."""
    import subprocess

    argv = sys.argv[1:] if argv is None else argv
    if not argv:
        print("usage: python -m mobile.pictures FOLDER [WIDTHxHEIGHT [TEXT_PERCENT]] [--parts]", file=sys.stderr)
        return 2
    pages: tuple[str, ...] = PAGES
    if "--parts" in argv:
        argv, pages = [*(one for one in argv if one != "--parts"), "1280x800"], ("parts",)
    folder = Path(argv[0])
    folder.mkdir(parents=True, exist_ok=True)
    if len(argv) == 1:
        for width, height in SIZES:
            done = subprocess.run([sys.executable, "-m", "mobile.pictures", argv[0], f"{width}x{height}"], check=False)
            if done.returncode:
                return done.returncode
        return 0
    width, height = (int(part) for part in argv[1].split("x"))
    scale = float(argv[2]) / 100 if len(argv) > 2 else 1.0
    hidden_window(width, height)
    asyncio.run(_one_size(folder, (width, height), scale, pages))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
