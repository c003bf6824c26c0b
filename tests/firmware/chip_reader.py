"""A reader of our own for the chip's bytes: the ``cobs`` package, ``zlib`` and ``struct``, none of meterlink's decoder."""

from __future__ import annotations

import os
import struct
import zlib
from typing import Any, NamedTuple

import numpy as np
from cobs import cobs

from hardware_notes.firmware.bench.simulated_chip import SimulatedChip

KINDS = {1: "IDENTITY", 2: "STEADY", 3: "POP", 4: "BLOCK", 5: "STATUS", 15: "REPLY"}
COMMANDS = {"IDENTIFY": 0x81, "SET_RANGE": 0x82, "ARM": 0x83, "STEADY_RATE": 0x84, "SET_INTERVAL": 0x85,
            "GET_STATUS": 0x86, "SET_IDENTITY": 0x87}  # fmt: skip

READY_MS = 12.0
"""After this long a chip that was switched on watches for pops."""
POP_MS = 110.0
"""20 ms of capture and 50 ms of line, with time to spare."""


class Message(NamedTuple):
    """One verified message: its kind, sequence number and fields."""

    kind: str
    sequence: int
    fields: dict[str, Any]


def unpack(message: bytes) -> Message:
    """Fields by the table of the specification."""
    version, kind, sequence = struct.unpack_from("<BBH", message)
    assert version == 1
    body = message[4:]
    layouts = {
        2: ("<IBBIHHHH", "time_ms range flags sum count min max distance_mm"),
        3: ("<IHBBH", "time_ms pop range flags lost"),
        4: ("<IHBBBBHHB", "time_ms pop range flags sample_bytes scale_bits pretrigger distance_mm segments"),
        5: ("<IBBHHHIHHHHHH", "uptime_ms range flags baseline threshold pretrigger interval_ns pops_seen pops_lost "
            "frames_refused reference reference_by_design reference_tolerance"),
        15: ("<BHB", "command its_sequence code"),
    }  # fmt: skip
    if kind == 1:
        names = ("minor", "major", "minor_version", "patch", "id", "capabilities", "adc_bits", "ring", "interval_ns",
                 "ranges", "name_length")  # fmt: skip
        fields = dict(zip(names, struct.unpack_from("<BBBB8sHBHIBB", body), strict=True))
        fields["name"] = body[23 : 23 + fields["name_length"]].decode()
        return Message("IDENTITY", sequence, fields)
    layout, names_text = layouts[kind]
    fields = dict(zip(names_text.split(), struct.unpack_from(layout, body), strict=True))
    if kind == 4:
        at = struct.calcsize(layout)
        count = fields["segments"]
        fields["segments"] = list(struct.iter_unpack("<HI", body[at : at + 6 * count]))
        fields["samples"] = np.frombuffer(body[at + 6 * count :], np.uint8).astype(float)
    return Message(KINDS[kind], sequence, fields)


class Line:
    """The host's end of the pty."""

    def __init__(self, chip: SimulatedChip) -> None:
        self.chip = chip
        self.fd = os.open(chip.pty_path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        self.raw = b""
        self.damaged = 0
        self._rest = b""
        self._sequence = 0

    def close(self) -> None:
        """Leave the line; the chip's end stays open."""
        os.close(self.fd)

    def read(self) -> list[Message]:
        """Every message that has come since the last call."""
        while True:
            try:
                piece = os.read(self.fd, 65536)
            except BlockingIOError:
                break
            if not piece:
                break
            self.raw += piece
            self._rest += piece
        *frames, self._rest = self._rest.split(b"\0")
        return [m for m in map(self._message, filter(None, frames)) if m]

    def _message(self, frame: bytes) -> Message | None:
        try:
            whole = cobs.decode(frame)
        except cobs.DecodeError:
            self.damaged += 1
            return None
        if len(whole) < 8 or zlib.crc32(whole[:-4]) != int.from_bytes(whole[-4:], "little"):
            self.damaged += 1
            return None
        return unpack(whole[:-4])

    def send(self, command: str | int, body: bytes = b"") -> int:
        """Send a command, returns its sequence number."""
        kind = COMMANDS[command] if isinstance(command, str) else command
        self._sequence += 1
        message = struct.pack("<BBH", 1, kind, self._sequence) + body
        self.send_bytes(cobs.encode(message + struct.pack("<I", zlib.crc32(message))) + b"\0")
        return self._sequence

    def send_bytes(self, data: bytes) -> None:
        """Send bytes as they are."""
        assert os.write(self.fd, data) == len(data)

    def after(self, duration_ms: float) -> list[Message]:
        """Step, then read.  Long steps are read in between, as a host would."""
        out: list[Message] = []
        while duration_ms > 0:
            self.chip.step(min(duration_ms, 200.0))
            duration_ms -= 200.0
            out += self.read()
        return out


def of(messages: list[Message], kind: str) -> list[dict[str, Any]]:
    """The fields of the messages of one kind."""
    return [m.fields for m in messages if m.kind == kind]


def times_and_raw(block: dict[str, Any]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Middle of each sample in s after the trigger's beginning, its value as fraction of full scale, its length in s."""
    lengths_s = np.concatenate([np.full(n, interval_ns * 1e-9) for n, interval_ns in block["segments"]])
    ends_s = np.cumsum(lengths_s)
    middles_s = ends_s - lengths_s / 2
    raw = (block["samples"] + 0.5) / 2 ** block["scale_bits"]
    return middles_s - middles_s[block["pretrigger"]], raw, lengths_s


def exposure_raw_s(block: dict[str, Any]) -> float:
    """Integral above the mean of what was before the trigger, in full scales × s."""
    _, raw, lengths_s = times_and_raw(block)
    dark = raw[: block["pretrigger"] - 2].mean()
    return float(((raw - dark) * lengths_s).sum())


def duration_s(block: dict[str, Any], part: float) -> float:
    """How long the light was above ``part`` of its peak, for a pulse with one hump.

    Crossings are the mean of the innermost and the outermost one, as noise moves either by itself.
    """
    times_s, raw, _ = times_and_raw(block)
    dark = raw[: block["pretrigger"] - 2].mean()
    above = raw - dark
    top = int(above.argmax())
    level = above[top] * part
    return _crossing(times_s[top:], above[top:], level) - _crossing(times_s[top::-1], above[top::-1], level)


def _crossing(times_s: np.ndarray, above: np.ndarray, level: float) -> float:
    """Where a falling curve passes the level."""
    inner = int(np.argmax(above < level))
    outer = len(above) - 1 - int(np.argmax(above[::-1] >= level))
    found = []
    for i in (inner - 1, outer):
        j = min(i + 1, len(above) - 1)
        step = above[i] - above[j]
        found.append(times_s[i] + (times_s[j] - times_s[i]) * ((above[i] - level) / step if step else 0.0))
    return sum(found) / 2
