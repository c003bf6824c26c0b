"""The app as a person starts it: a process of its own, with nothing set for kivy beforehand."""

from __future__ import annotations

import os
import subprocess
import sys


def test_the_command_line_is_the_app_s_own_and_not_kivy_s() -> None:
    """``python -m mobile --help`` names our options: kivy, once imported before it is told not to, takes them all for its own."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("KIVY_")}
    environment |= {"SDL_VIDEODRIVER": "offscreen", "KIVY_WINDOW": "sdl2"}

    done = subprocess.run([sys.executable, "-m", "mobile", "--help"], capture_output=True, text=True, env=environment, timeout=60)

    assert done.returncode == 0, done.stderr
    assert "--library FILE" in done.stdout
    assert "--sensor URL" in done.stdout
    assert "Traceback" not in done.stderr, "what this machine lacks is no news to the person"
