"""Spoken read-back and vibration, where the platform has them.  Nothing here may ever stop a pop from being logged."""

from __future__ import annotations

import os
import shutil
import sys
import threading
from collections.abc import Callable
from queue import SimpleQueue


def _on_phone() -> bool:
    return "ANDROID_ARGUMENT" in os.environ or sys.platform == "ios"


def _plyer_speak(text: str) -> None:
    if sys.platform == "linux" and not _on_phone() and not (shutil.which("espeak") or shutil.which("flite")):
        raise NotImplementedError("no speech engine")
    from plyer import tts

    tts.speak(message=text)


def _plyer_vibrate(seconds: float) -> None:
    if not _on_phone():
        raise NotImplementedError("a desktop does not vibrate")
    from plyer import vibrator

    vibrator.vibrate(time=seconds)


PATTERN_S = {"good": 0.06, "corrected": 0.12, "retake": 0.4}
"""How long the phone shakes: long means do it again."""


class Voice:
    """Speaks and vibrates on a thread of its own; what the platform lacks is noted once and never tried again."""

    def __init__(
        self, speak: Callable[[str], None] = _plyer_speak, vibrate: Callable[[float], None] = _plyer_vibrate
    ) -> None:
        self.can_speak = True
        self.can_vibrate = True
        self._speak, self._vibrate = speak, vibrate
        self._queue: SimpleQueue[tuple[str, object] | None] = SimpleQueue()
        self._thread: threading.Thread | None = None

    def say(self, text: str) -> None:
        """Read a text out, after those before it."""
        if text and self.can_speak:
            self._put("say", text)

    def buzz(self, verdict: str) -> None:
        """Vibrate as long as the verdict asks for."""
        if self.can_vibrate and verdict in PATTERN_S:
            self._put("buzz", PATTERN_S[verdict])

    def _put(self, what: str, value: object) -> None:
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="voice", daemon=True)
            self._thread.start()
        self._queue.put((what, value))

    def _run(self) -> None:
        while (job := self._queue.get()) is not None:
            what, value = job
            try:
                if what == "say":
                    self._speak(str(value))
                else:
                    self._vibrate(float(value))  # type: ignore[arg-type]
            except Exception:  # whatever a platform's speech engine raises, readings go on
                if what == "say":
                    self.can_speak = False
                else:
                    self.can_vibrate = False

    def close(self, timeout_s: float = 2.0) -> None:
        """Finish what is queued and end the thread."""
        if self._thread is not None:
            self._queue.put(None)
            self._thread.join(timeout_s)
            self._thread = None
