"""States, desk and texts run without kivy, so that they can be tested and reused anywhere."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import mobile

APP = Path(mobile.__file__).parent
PLAIN = sorted(
    p.stem
    for p in APP.glob("*.py")
    if p.stem.endswith("_state")
    or p.stem
    in (
        "desk",
        "sensor_desk",
        "texts",
        "theme",
        "prefs",
        "made_up",
        "demo_set",
        "shot",
        "matching",
        "voice",
        "light_fields",
        "last_pop",
        "file_chooser",
    )
)


def test_every_page_has_a_state_a_screen_and_a_layout() -> None:
    """x_screen.py, x_screen.kv and x_state.py come together (the list of places has nothing to hold)."""
    for screen in APP.glob("*_screen.py"):
        name = screen.stem.removesuffix("_screen")
        assert (APP / f"{name}_screen.kv").is_file()
        assert name == "more" or (APP / f"{name}_state.py").is_file()


@pytest.mark.parametrize("name", PLAIN)
def test_it_is_imported_without_kivy(name: str) -> None:
    """Importing the module, and whatever it imports, brings no kivy."""
    code = f"import sys, mobile.{name}; sys.exit('kivy' in sys.modules)"

    done = subprocess.run([sys.executable, "-c", code], check=False, cwd=APP.parent)

    assert done.returncode == 0


def test_no_state_mentions_kivy_even_later() -> None:
    """No state imports kivy inside a function either."""
    for name in PLAIN:
        text = (APP / f"{name}.py").read_text(encoding="utf-8")
        assert "import kivy" not in text
        assert "from kivy" not in text


def test_layouts_hold_no_branches_on_data() -> None:
    """.kv binds to properties: no loops, no calls into the desk or the library."""
    for path in APP.glob("*.kv"):
        text = path.read_text(encoding="utf-8")
        for word in ("desk.", "library.", "sorted(", " for ", "lambda", "session"):
            code = "\n".join(line for line in text.splitlines() if "t('" not in line)
            assert word not in code, f"{path.name}: {word}"
