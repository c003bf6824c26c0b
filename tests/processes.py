"""Programs that tests start and listen to: ended after a time, whatever they or the test wait for."""

from __future__ import annotations

import os
import subprocess
import threading
from collections.abc import Callable

LIMIT_S = 60.0
"""For one walk, which takes a few seconds: a pop that is not heard would leave program and test waiting for each other."""


def listened_to(command: list[str], hear: Callable[[str], None]) -> None:
    """Run a program that nobody types to, hand each line that it says to ``hear``; it must end well and in time."""
    environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
    process = subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=environment
    )
    limit = threading.Timer(LIMIT_S, process.kill)
    limit.start()
    said = []
    try:
        for line in process.stdout or ():
            said.append(line)
            hear(line)
        assert process.wait(LIMIT_S) == 0, "".join(said)
    finally:
        limit.cancel()
        process.kill()
        process.communicate()
