"""Commands that a sensor has not answered yet, and those that are still to be said.

A pop that is fired meanwhile may be lost (a capture in progress is dropped, a status takes the converter off its samples), or
fall on another range than was promised: nobody is told to fire before.
"""

from __future__ import annotations

import asyncio
from typing import Any


class Commands:
    """What is on its way to one sensor."""

    def __init__(self) -> None:
        self.answered = asyncio.Event()
        """Set while the sensor owes no answer."""
        self.answered.set()
        self._owed: dict[int, int] = {}
        """Answers that are still to come, by the command."""
        self._tasks: set[asyncio.Task[Any]] = set()

    def under_way(self, task: asyncio.Task[Any]) -> None:
        """Count a task that will say something as a command that is not answered."""
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    @property
    def to_be_said(self) -> set[asyncio.Task[Any]]:
        """Tasks that have not said yet what they will."""
        return {task for task in self._tasks if not task.done()}

    def said(self, command: int) -> None:
        """A command goes out."""
        self._owed[command] = self._owed.get(command, 0) + 1
        self.answered.clear()

    def heard(self, command: int) -> None:
        """The sensor has answered a command."""
        left = self._owed.pop(command, 0) - 1
        if left > 0:
            self._owed[command] = left
        if not self._owed:
            self.answered.set()

    def forget(self) -> None:
        """No answer will come any more: the sensor has started anew, or its link is gone."""
        self._owed.clear()
        self.answered.set()
