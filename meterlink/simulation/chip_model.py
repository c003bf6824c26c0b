"""A model of our sensor's firmware: commands in, frames out, light in between.  No input or output, no clock of its own.

The bytes are those of wire format v1; what the real firmware does on a simulated chip is tested elsewhere.  ``BadBuild`` is the
same firmware behind a front end that has one fault.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from typing import NamedTuple

from meterlink.errors import FrameError
from meterlink.records import HeldOff, Identity, RangerState, Segment, WaveBlock
from meterlink.sensor.dialects import messages as m
from meterlink.sensor.dialects.base import DecoderStats
from meterlink.sensor.dialects.frames import FrameReader
from meterlink.sensor.dialects.sensor_side import Command, SensorEncoder, parse_command
from meterlink.sensor.measuring.calibrate import PEDESTAL_RAW
from meterlink.simulation.studio import Pulse

FULL_SCALE_LX = (2e6, 2e5)
"""Light at full scale of each range."""
INTERVAL_S = 13e-6
RING = 1024
PRETRIGGER = 128
ADC_BITS = 10
THRESHOLD_RAW = 6 / 256
NOISE_CODES = 0.5
"""Standard deviation of the noise, in steps of 8 bits."""
STEADY_SAMPLES = 1024

RANGER_BEHIND_M, RANGER_SCALE, RANGER_NOISE_M = 0.008, 1.02, 0.003
RANGER_WHITE = 2e5
"""Counts a second from a white card at 1 m."""

Light = Pulse | Callable[[float], float]
"""A pulse, or illuminance above the room's as a function of the time in seconds from the trigger on."""


SIMULATED = "simulated dome"
"""What it calls itself."""


class Shown(NamedTuple):
    """Frames of one pop, apart, so that a script can lose or damage one of them."""

    notice: bytes
    block: bytes
    colour: bytes = b""
    """Comes before the block; empty when the sensor sees no colour."""


class ChipModel:
    """One sensor.  The same seed and the same calls give the same bytes."""

    def __init__(
        self,
        *,
        sensor_id: str = "51b0a7e000000001",
        seed: int = 1,
        noise_codes: float = NOISE_CODES,
        colour: bool = False,
        range_finder: bool = False,
    ) -> None:
        self.identity = Identity(
            sensor_id, SIMULATED, m.DIALECT, "0.1.0", flash=True, steady=True, adc_bits=ADC_BITS,
            ranges=m.range_names(len(FULL_SCALE_LX)), ring_samples=RING, sample_interval_s=INTERVAL_S,
            intervals=tuple(INTERVAL_S * f for f in m.INTERVAL_FACTORS), colour=colour,
            range_finder=range_finder,
        )  # fmt: skip
        self.ambient_lx = 60.0
        self.held_off_m: float | None = None
        """What a range finder on it would say; None is not known."""
        self._noise_codes = noise_codes
        self._random = random.Random(seed)
        self.restart()

    def restart(self) -> bytes:
        """Start anew, as after a reset; return what the sensor then says by itself."""
        self.range_index = 0
        self.armed = True
        self.threshold_raw = THRESHOLD_RAW
        self.steady_rate_hz = 10
        self.factor = 1
        self.pops_seen = self.pops_lost = 0
        self.encoder = SensorEncoder()
        self._stats = DecoderStats()
        self._reader = FrameReader(self._stats)
        self._refused = 0
        return b"\0" + self.encoder.identity(self.identity)

    def hear(self, data: bytes, now_s: float) -> bytes:
        """Take bytes from the host and return the answers."""
        answers = []
        for frame in self._reader.feed(data):
            try:
                command = parse_command(frame)
            except FrameError:
                self._refused += 1
                continue
            answers.append(self._answer(command, now_s))
        return b"".join(answers)

    def _answer(self, command: Command, now_s: float) -> bytes:
        kind, body = command.kind, command.body
        if kind == m.IDENTIFY:
            return self.encoder.identity(self.identity)
        if kind == m.GET_STATUS:
            return self._status(now_s)
        if kind == m.SET_RANGE and body[0] < len(FULL_SCALE_LX):
            self.range_index = body[0]
        elif kind == m.ARM and body[0] <= 1:
            self.armed = bool(body[0])
            threshold = int.from_bytes(body[1:3], "little")
            self.threshold_raw = threshold / 65536 if threshold else self.threshold_raw
        elif kind == m.STEADY_RATE and body[0] <= 50:
            self.steady_rate_hz = body[0]
        elif kind == m.SET_INTERVAL and body[0] in m.INTERVAL_FACTORS:
            self.factor = body[0]
        else:
            known = m.SET_RANGE <= kind <= m.SET_INTERVAL
            return self.encoder.reply(command, m.NOT_POSSIBLE if known else m.UNKNOWN_COMMAND)
        return self.encoder.reply(command)

    def _status(self, now_s: float) -> bytes:
        raw = min(self.raw(self.ambient_lx), 1.0)
        counts = (self.pops_seen, self.pops_lost, self._refused + self._stats.damaged_total)
        return self.encoder.status(
            now_s, self.range_index, armed=self.armed, saturated=raw >= 1.0, baseline_raw=raw,
            threshold_raw=self.threshold_raw, pretrigger=PRETRIGGER, sample_interval_s=INTERVAL_S * self.factor,
            counts=counts,
        )  # fmt: skip

    def steady(self, now_s: float) -> bytes:
        """Return one STEADY of the room's light."""
        top = (1 << ADC_BITS) - 1
        ideal, spread, drawn = self.raw(self.ambient_lx) * (top + 1), self._noise_codes * 4, self._random.gauss
        codes = [int(drawn(ideal, spread)) for _ in range(STEADY_SAMPLES)]
        if min(codes) < 0 or max(codes) > top:
            codes = [max(0, min(top, code)) for code in codes]
        return self.encoder.steady(
            now_s, self.range_index, sum(codes), len(codes), min(codes), max(codes), clipped=max(codes) == top,
            held_off_m=self.held_off_m,
        )  # fmt: skip

    def distance(self, held_off_m: float, reflectance: float = 0.5) -> bytes:
        """Return one DISTANCE of a range finder that sits behind the dome and reads a little long."""
        figure = RANGER_SCALE * (held_off_m + RANGER_BEHIND_M) + self._random.gauss(0.0, RANGER_NOISE_M)
        signal = min(reflectance / 0.9 * RANGER_WHITE / figure**2, 6.5e7)
        return self.encoder.distance(HeldOff(0.0, figure, RANGER_NOISE_M, RangerState.GOOD, signal))

    def pop(self, light: Light, now_s: float) -> Shown | None:
        """Let a flash happen; None when it is too weak to trigger or the sensor is not armed."""
        at = light.illuminance_lx if isinstance(light, Pulse) else light
        step_s = INTERVAL_S * self.factor
        phase = self._random.random()
        levels = [0.0] * PRETRIGGER + [at((i + phase) * step_s) for i in range(RING - PRETRIGGER)]
        full = FULL_SCALE_LX[self.range_index]
        if not self.armed or max(levels) / full < self.threshold_raw:
            return None
        codes = bytes(self._code(self.ambient_lx + level) for level in levels)
        clipped = max(codes) == 255
        truncated = levels[-1] / full > self.threshold_raw
        self.pops_seen += 1
        block = WaveBlock(
            0.0, self.pops_seen, codes, 8, 8, (Segment(0, RING, step_s),), PRETRIGGER, self.range_index, clipped,
            truncated, self.held_off_m,
        )  # fmt: skip
        notice = self.encoder.pop(now_s, self.pops_seen, self.range_index, clipped=clipped, lost=self.pops_lost)
        xy = light.xy if self.identity.colour and isinstance(light, Pulse) else None
        tint = self.encoder.chromaticity(*xy, during_pop=True) if xy is not None else b""
        return Shown(notice, self.encoder.block(now_s, block), tint)

    def lose_pop(self) -> None:
        """A pop that came while the last block was still being sent: it is only counted."""
        self.pops_seen += 1
        self.pops_lost += 1

    def raw(self, level_lx: float) -> float:
        """What the converter sees of a light, as a fraction of full scale."""
        return PEDESTAL_RAW + level_lx / FULL_SCALE_LX[self.range_index]

    def _code(self, level_lx: float) -> int:
        return max(0, min(255, int(self.raw(level_lx) * 256 + self._random.gauss(0.0, self._noise_codes))))


FAULTS = (
    "diode-reversed", "diode-open", "zero-not-lifted", "dark-offset", "light-leak", "amplifier-at-its-end", "hum", "range-stuck",
    "swapped-resistors", "wrong-resistor", "slow-amplifier", "loose-contact", "deaf",
)  # fmt: skip
HUM_CODES, LEAK_LX, SLOW_S = 5.0, 9e3, 12e-3


class BadBuild(ChipModel):
    """``fault`` is one of ``FAULTS``."""

    def __init__(self, fault: str, *, seed: int = 1) -> None:
        super().__init__(seed=seed, noise_codes=HUM_CODES if fault == "hum" else NOISE_CODES)
        self.fault = fault
        self.identity = self.identity._replace(name=f"simulated dome, {fault}")

    def raw(self, level_lx: float) -> float:
        """What the converter sees of a light, as a fraction of full scale."""
        wide, fine = FULL_SCALE_LX
        full = FULL_SCALE_LX[self.range_index]
        if self.fault == "range-stuck":
            full = fine
        elif self.fault == "swapped-resistors":
            full = wide + fine - full
        elif self.fault == "wrong-resistor" and self.range_index:
            full *= 2.2
        above = (level_lx + (LEAK_LX if self.fault == "light-leak" else 0.0)) / full
        if self.fault == "diode-open":
            above = 0.0
        elif self.fault == "diode-reversed":
            above = -above
        elif self.fault == "amplifier-at-its-end":
            return 1.0
        elif self.fault == "loose-contact":
            above *= 1.0 if self.pops_seen % 2 else 0.5
        zero = {"zero-not-lifted": 0.0, "dark-offset": 3 * PEDESTAL_RAW}.get(self.fault, PEDESTAL_RAW)
        return zero + above

    def pop(self, light: Light, now_s: float) -> Shown | None:
        """Let a flash happen, as this build sees it."""
        if self.fault == "deaf":
            return None
        if self.fault == "slow-amplifier":
            exposure = getattr(light, "exposure_lxs", 100.0) * 4
            self.factor = max(8, self.factor)

            def slow(t_s: float) -> float:
                return exposure / SLOW_S * math.exp(-t_s / SLOW_S) if t_s > 0 else 0.0

            return super().pop(slow, now_s)
        return super().pop(light, now_s)
