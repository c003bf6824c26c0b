"""The ticks that are heard at a pop, played by kivy."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import Any

from kivy.core.audio import SoundLoader

from mobile.voice import tick_wave

_sounds: dict[str, Any] = {}


def play_tick(kind: str) -> None:
    """Play one of ``voice.TICKS``.  Raises NotImplementedError where there is no sound."""
    if kind not in _sounds:
        path = Path(tempfile.gettempdir()) / f"meterlink-{os.getpid()}-{kind}.wav"
        path.write_bytes(tick_wave(kind))
        _sounds[kind] = SoundLoader.load(str(path))
        path.unlink(missing_ok=True)
    if _sounds[kind] is None:
        raise NotImplementedError("no sound")
    _sounds[kind].play()
