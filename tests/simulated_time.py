"""A command or the front door at a simulated sensor, with its waiting skipped: the loop's time jumps from timer to timer."""

from __future__ import annotations

import asyncio
import asyncio.runners
import os
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import pytest

from meterlink.cli.main import main
from meterlink.sensor.link.recording import RecordingLink
from meterlink.sensor.measuring.sensor import Sensor
from meterlink.simulation.sensor import SimulatedLink
from meterlink.testing import VirtualLoop


class _Runner(asyncio.Runner):
    def __init__(self, *, debug: bool | None = None, loop_factory: Callable[[], Any] | None = None) -> None:
        super().__init__(debug=debug, loop_factory=VirtualLoop)


def _loop_time() -> float:
    try:
        return asyncio.get_running_loop().time()
    except RuntimeError:  # made before its loop runs
        return 1000.0


def _of_loop(default: Any) -> Any:
    return _loop_time if default is time.monotonic else default


@contextmanager
def simulated_time() -> Iterator[None]:
    """Within it every loop is a virtual one, and simulated sensors live in its time; bytes of any other sensor take real time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(asyncio, "Runner", _Runner)
        patch.setattr(asyncio.runners, "Runner", _Runner)
        for kind in (SimulatedLink, RecordingLink, Sensor):
            function: Any = kind.__init__
            named = {name: _of_loop(value) for name, value in function.__kwdefaults__.items()}
            patch.setattr(function, "__kwdefaults__", named)
            patch.setattr(function, "__defaults__", tuple(map(_of_loop, function.__defaults__ or ())))
        yield


def run_main(arguments: Sequence[str]) -> int:
    """``meterlink`` in this process; without real waiting where its sensor is simulated."""
    sensors = (*arguments, os.environ.get("METERLINK_SENSOR", ""))
    simulated = any(one == "sim" or one.startswith("sim:") for one in sensors)
    if not simulated:
        return main(list(arguments))
    with simulated_time():
        return main(list(arguments))
