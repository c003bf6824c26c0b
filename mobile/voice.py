"""Spoken read-back and vibration, where the platform has them.  Nothing here may ever stop a pop from being logged."""

from __future__ import annotations

import io
import math
import os
import shutil
import struct
import sys
import threading
import wave
from collections.abc import Callable
from queue import SimpleQueue

from meterlink.metering.nearness import Ticker

__all__ = ["TICKS", "Ticker", "Voice", "tick_wave"]


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


RATE_HZ = 22050
TICKS = {"taken": ((1760.0, 0.035),), "again": ((440.0, 0.07), (330.0, 0.12)),
         "near": ((880.0, 0.02),), "ready": ((990.0, 0.05), (1320.0, 0.09))}  # fmt: skip
"""Tones in Hz and how long they last: one short high tick, a low pair that falls;
on the way in a short one, then a pair that rises."""


def tick_wave(kind: str) -> bytes:
    """Return a tick as a WAV file's content: 16-bit, mono, each tone with a soft beginning and end."""
    samples: list[int] = []
    for hertz, seconds in TICKS[kind]:
        count = int(RATE_HZ * seconds)
        for i in range(count):
            soft = min(1.0, i / 80, (count - i) / 200)
            samples.append(int(12000 * soft * math.sin(2 * math.pi * hertz * i / RATE_HZ)))
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(struct.pack(f"<{len(samples)}h", *samples))
    return out.getvalue()


def _no_tick(_kind: str) -> None:
    raise NotImplementedError("no sound")


PATTERN_S = {"good": 0.06, "corrected": 0.12, "retake": 0.4}
"""How long the phone shakes: long means do it again."""


class Voice:
    """Speaks and vibrates on a thread of its own; what the platform lacks is noted once and never tried again."""

    def __init__(
        self,
        speak: Callable[[str], None] = _plyer_speak,
        vibrate: Callable[[float], None] = _plyer_vibrate,
        play: Callable[[str], None] = _no_tick,
    ) -> None:
        self.can_speak = True
        self.can_vibrate = True
        self.can_tick = True
        self._speak, self._vibrate, self._play = speak, vibrate, play
        self._queue: SimpleQueue[tuple[str, object] | None] = SimpleQueue()
        self._thread: threading.Thread | None = None

    def say(self, text: str) -> None:
        """Read a text out, after those before it."""
        if text and self.can_speak:
            self._put("say", text)

    def tick(self, kind: str) -> None:
        """Sound one of ``TICKS``."""
        if self.can_tick:
            self._put("tick", kind)

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
                elif what == "tick":
                    self._play(str(value))
                else:
                    self._vibrate(float(value))  # type: ignore[arg-type]
            except Exception:  # whatever a platform's speech engine raises, readings go on
                setattr(self, {"say": "can_speak", "tick": "can_tick"}.get(what, "can_vibrate"), False)

    def close(self, timeout_s: float = 2.0) -> None:
        """Finish what is queued and end the thread."""
        if self._thread is not None:
            self._queue.put(None)
            self._thread.join(timeout_s)
            self._thread = None
