"""What must be said to kivy before it is imported."""

from __future__ import annotations

import os


def prepare() -> None:
    """Keep kivy from reading our command line and from writing files of its own.  What is set already stays."""
    for name, value in (
        ("KIVY_NO_ARGS", "1"),
        ("KIVY_NO_FILELOG", "1"),
        ("KIVY_LOG_MODE", "PYTHON"),
    ):
        os.environ.setdefault(name, value)
