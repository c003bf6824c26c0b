"""The loop that answers some descriptors on the spot: the same as asyncio's, only sooner."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from meterlink.sensor.link import direct


@pytest.fixture
def pipe() -> Iterator[tuple[int, int]]:
    """A pipe, closed after the test."""
    ends = os.pipe()
    yield ends
    for end in ends:
        os.close(end)


RUNS: list[Callable[[Any], Any]] = [direct.run, asyncio.run]


@pytest.mark.parametrize("run", RUNS, ids=["direct", "usual"])
def test_bytes_reach_their_reader(run: Callable[[Any], Any], pipe: tuple[int, int]) -> None:
    """On a loop of ours and on asyncio's own, what is written is read, and not after it was let go."""
    got: list[bytes] = []

    async def work() -> None:
        loop = asyncio.get_running_loop()
        direct.add_reader(loop, pipe[0], lambda: got.append(os.read(pipe[0], 100)))
        os.write(pipe[1], b"one")
        await asyncio.sleep(0.01)
        direct.remove_reader(loop, pipe[0])
        os.write(pipe[1], b"two")
        await asyncio.sleep(0.01)

    run(work())
    assert got == [b"one"]


def test_tasks_and_timers_run_as_usual(pipe: tuple[int, int]) -> None:
    """A watched descriptor does not keep the loop from its other work, and a reader may wake a task."""

    async def work() -> bytes:
        loop = asyncio.get_running_loop()
        arrived: asyncio.Future[bytes] = loop.create_future()
        direct.add_reader(loop, pipe[0], lambda: arrived.set_result(os.read(pipe[0], 100)))
        loop.call_later(0.01, os.write, pipe[1], b"x")
        try:
            return await asyncio.wait_for(arrived, 1.0)
        finally:
            direct.remove_reader(loop, pipe[0])

    assert direct.run(work()) == b"x"


def test_a_reader_that_fails_does_not_stop_the_loop(pipe: tuple[int, int]) -> None:
    """An error in a reader goes to the loop's handler, as asyncio does it."""
    told: list[str] = []

    def broken() -> None:
        os.read(pipe[0], 100)
        raise ValueError("broken")

    async def work() -> None:
        loop = asyncio.get_running_loop()
        loop.set_exception_handler(lambda _loop, context: told.append(str(context["exception"])))
        direct.add_reader(loop, pipe[0], broken)
        os.write(pipe[1], b"x")
        await asyncio.sleep(0.01)
        direct.remove_reader(loop, pipe[0])

    direct.run(work())
    assert told == ["broken"]


def test_a_descriptor_closed_before_it_is_let_go(pipe: tuple[int, int]) -> None:
    """Whoever closes first and lets go afterwards gets no error, and the loop goes on."""

    async def work() -> str:
        loop = asyncio.get_running_loop()
        fd = os.dup(pipe[0])
        direct.add_reader(loop, fd, lambda: None)
        os.close(fd)
        direct.remove_reader(loop, fd)
        await asyncio.sleep(0)
        return "on"

    assert direct.run(work()) == "on"
