"""What must be said to kivy before it is imported."""

from __future__ import annotations

import logging
import os

QUIET = ("Cutbuffer", "MTDev")
"""What a desktop may lack (a clipboard for the middle button, a kind of touch screen): a page of traceback helps nobody."""


def prepare() -> None:
    """Keep kivy from reading our command line, from writing files of its own and from tracing what a desktop may lack.

    What is set already stays.
    """
    logging.getLogger("kivy").addFilter(lambda record: not any(one in record.getMessage() for one in QUIET))
    for name, value in (("KIVY_NO_ARGS", "1"), ("KIVY_NO_FILELOG", "1"), ("KIVY_LOG_MODE", "PYTHON")):
        os.environ.setdefault(name, value)


def keep_apart() -> None:
    """For pictures and tests: let kivy read nothing of this machine either, and draw a pixel a dp, the same everywhere."""
    os.environ.update(
        KIVY_NO_ARGS="1",
        KIVY_NO_CONFIG="1",
        KIVY_NO_FILELOG="1",
        KIVY_NO_CONSOLELOG="1",
        KIVY_LOG_MODE="PYTHON",
        KIVY_METRICS_DENSITY="1",
        KIVY_DPI="160",
        KIVY_CLIPBOARD="dummy",
    )
