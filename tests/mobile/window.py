"""A window for the app's tests: real pixels where libEGL and libGL are, else real layout and touches without pixels.

``prepare()`` must run before anything imports kivy.
"""

from __future__ import annotations

import ctypes
import os

from mobile.environment import keep_apart

WHY_NO_PIXELS = "libEGL and libGL are not here (Debian: libegl1 libgl1): layout and touches are tested, pixels are not"


def has_pixels() -> bool:
    """Say whether SDL can draw without a screen here."""
    for name in ("libEGL.so.1", "libGL.so.1"):
        try:
            ctypes.CDLL(name)
        except OSError:
            return False
    return os.environ.get("METERLINK_TEST_WINDOW", "") != "mock"


_prepared = False


def prepare() -> None:
    """Choose the window and keep kivy from reading or writing anything of this machine's."""
    global _prepared
    if _prepared:
        return
    _prepared = True
    keep_apart()
    if has_pixels():
        os.environ.update(SDL_VIDEODRIVER="offscreen", KIVY_WINDOW="sdl2")
    else:
        os.environ.update(KIVY_GL_BACKEND="mock", KIVY_WINDOW="mock")
    import logging

    logging.getLogger("kivy").setLevel(logging.CRITICAL + 1)
    from kivy.config import Config

    for name, value in (("width", "360"), ("height", "640"), ("multisamples", "0"), ("maxfps", "0")):
        Config.set("graphics", name, value)
    for name, _value in Config.items("input"):
        Config.remove_option("input", name)
    if not has_pixels():
        _mock_window()


def _mock_window() -> None:
    import kivy.core.window as module
    from kivy.core.window import WindowBase

    class MockWindow(WindowBase):
        """A window that draws nothing and has a size."""

        def create_window(self, *args: object) -> None:
            if not self.initialized:
                self._size = (360, 640)
            super().create_window(*args)

        def mainloop(self) -> None:
            """Nothing comes from a system."""

        def flip(self) -> None:
            """Nothing is drawn."""

        def close(self) -> None:
            """Nothing to close."""

    module.Window = MockWindow()


def resize(width: int, height: int) -> None:
    """Give the window another size, as turning the phone does."""
    from kivy.core.window import Window

    Window.size = (width, height)
    if tuple(Window.size) != (width, height):
        Window._size = [width, height]
    Window.dispatch("on_resize", width, height)
