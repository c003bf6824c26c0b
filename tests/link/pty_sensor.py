"""A sensor on a pty: the model of our firmware answers on the event loop what a serial link asks."""

from __future__ import annotations

import asyncio
import os

from meterlink.simulation.chip_model import ChipModel
from meterlink.testing import PtyPort


class PtySensor:
    """Answers as ``chip`` from ``start()`` on; ``deaf_questions`` are not heard, as by a board that restarts."""

    def __init__(self, chip: ChipModel | None = None, *, deaf_questions: int = 0) -> None:
        self.port = PtyPort()
        self.chip = chip or ChipModel()
        self.heard = b""
        self._deaf = deaf_questions

    def start(self) -> PtySensor:
        """Begin to listen; needs a running loop."""
        asyncio.get_running_loop().add_reader(self.port.master, self._listen)
        return self

    def _listen(self) -> None:
        data = os.read(self.port.master, 4096)
        self.heard += data
        if self._deaf:
            self._deaf -= 1
            return
        answer = self.chip.hear(data, 0.0)
        if answer:
            self.port.say(answer)

    def stop(self) -> None:
        """Pull the cable."""
        if self.port.master >= 0:
            asyncio.get_running_loop().remove_reader(self.port.master)
            self.port.unplug()
