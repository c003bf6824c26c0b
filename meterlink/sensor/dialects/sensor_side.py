"""The other end of wire format v1: what a simulated sensor says, and what it understands."""

from __future__ import annotations

from struct import pack
from typing import NamedTuple

from meterlink.errors import FrameError
from meterlink.records import HeldOff, Identity, WaveBlock
from meterlink.sensor.dialects import messages as m

_CLOCK = 0xFFFF_FFFF


class Command(NamedTuple):
    """One command of the host, its body checked for length."""

    kind: int
    sequence: int
    body: bytes


_BODY_BYTES = {m.IDENTIFY: 0, m.SET_RANGE: 1, m.ARM: 3, m.STEADY_RATE: 1, m.SET_INTERVAL: 1, m.GET_STATUS: 0, m.SET_IDENTITY: 9}


def parse_command(frame: bytes) -> Command:
    """Return the command in one verified frame (with its CRC).  Unknown types come with their whole body.

    Raises FrameError: another version, not a command, or a body that is too short.
    """
    version, kind, sequence = m.HEADER.unpack_from(frame)
    body = frame[m.HEADER.size : -m.CRC_BYTES]
    if version != m.VERSION or kind < m.FROM_HOST or len(body) < _BODY_BYTES.get(kind, 0):
        raise FrameError("no command of wire format v1: send one of section 3", "body")
    return Command(kind, sequence, body)


class SensorEncoder(m.Numbered):
    """Frames of a sensor, numbered as they are made.  Times are seconds since its start."""

    def identity(self, identity: Identity) -> bytes:
        """IDENTITY.  ``sensor_id`` must be 16 hex digits, ``firmware`` three numbers with dots."""
        can = sum(bit for ability, bit in m.ABILITIES.items() if getattr(identity, ability))
        can |= m.HAS_INTERVALS if identity.intervals else 0
        name = identity.name.encode()[: m.MAX_NAME_BYTES]
        return self.message(
            m.IDENTITY,
            pack(
                "<B3B8sHBHIBB", 0, *map(int, identity.firmware.split(".")), bytes.fromhex(identity.sensor_id), can,
                identity.adc_bits, identity.ring_samples, round(identity.sample_interval_s * 1e9),
                len(identity.ranges), len(name),
            ) + name,
        )  # fmt: skip

    def steady(
        self, now_s: float, range_index: int, codes_sum: int, count: int, low: int, high: int, *,
        clipped: bool = False, range_switched: bool = False, held_off_m: float | None = None,
    ) -> bytes:  # fmt: skip
        """STEADY: sum, number, smallest and largest of the codes in the window."""
        flags = clipped * m.CLIPPED | range_switched * m.SECOND_FLAG
        mm = m.distance_mm(held_off_m)
        return self.message(m.STEADY, pack("<IBBIHHHH", _ms(now_s), range_index, flags, codes_sum, count, low, high, mm))

    def pop(self, now_s: float, pop: int, range_index: int, *, clipped: bool = False, lost: int = 0) -> bytes:
        """POP; ``lost`` counts from the sensor's start."""
        return self.message(m.POP, pack("<IHBBH", _ms(now_s), pop & 0xFFFF, range_index, clipped, lost & 0xFFFF))

    def block(self, now_s: float, block: WaveBlock) -> bytes:
        """BLOCK."""
        flags = block.clipped * m.CLIPPED | block.truncated * m.SECOND_FLAG
        head = pack(
            "<IHBBBBHHB", _ms(now_s), block.pop & 0xFFFF, block.range_index, flags, block.bits // 8, block.scale_bits,
            block.pretrigger, m.distance_mm(block.held_off_m), len(block.segments),
        )  # fmt: skip
        parts = [pack("<HI", s.sample_count, round(s.sample_interval_s * 1e9)) for s in block.segments]
        return self.message(m.BLOCK, b"".join((head, *parts, block.data)))

    def status(
        self, now_s: float, range_index: int, *, armed: bool, saturated: bool, baseline_raw: float,
        threshold_raw: float, pretrigger: int, sample_interval_s: float, counts: tuple[int, int, int],
        reference: tuple[float, float, float] | None = None, warmth: tuple[float | None, float | None, int] | None = None,
    ) -> bytes:  # fmt: skip
        """STATUS; ``counts`` are pops seen, pops lost, frames refused; ``reference`` is now, by design, tolerance;
        ``warmth`` (with a reference only) is °C, V of the supply, overruns."""
        more = pack("<3H", *(round(65536 * r) for r in reference)) if reference else b""
        if warmth:
            temperature_c, supply_v, overruns = warmth
            tenths = m.TEMPERATURE_NOT_KNOWN if temperature_c is None else round(10 * temperature_c)
            more += pack("<hHH", tenths, m.NOT_KNOWN if supply_v is None else round(1000 * supply_v), overruns & 0xFFFF)
        return self.message(
            m.STATUS,
            pack(
                "<IBBHHHI3H", _ms(now_s), range_index, armed | saturated << 1, _share(baseline_raw),
                _share(threshold_raw), pretrigger, round(sample_interval_s * 1e9), *(c & 0xFFFF for c in counts),
            ) + more,
        )  # fmt: skip

    def chromaticity(self, x: float, y: float, *, during_pop: bool = False) -> bytes:
        """COLOUR with x and y."""
        return self.message(m.COLOUR, pack("<BB2I", 2 | during_pop, 2, round(x * 65535), round(y * 65535)))

    def channels(self, values: tuple[int, ...], *, during_pop: bool = False) -> bytes:
        """COLOUR with the channels as they are."""
        return self.message(m.COLOUR, pack(f"<BB{len(values)}I", during_pop, len(values), *values))

    def distance(self, said: HeldOff, *, figures: bool = True) -> bytes:
        """DISTANCE; ``figures`` False leaves uncertainty, status and signal out, as an older sensor does."""
        body = pack("<H", m.distance_mm(said.held_off_m))
        if figures:
            status = m.RANGER_STATES.index(said.state) if said.state in m.RANGER_STATES else 0xFF
            signal = m.NOT_KNOWN if said.signal is None else min(round(said.signal / 1000), m.NOT_KNOWN - 1)
            body += pack("<HBH", m.distance_mm(said.u_m), status, signal)
        return self.message(m.DISTANCE, body)

    def battery(self, fraction: float | None, voltage_v: float | None = None) -> bytes:
        """BATTERY; None is not known."""
        percent = 255 if fraction is None else round(fraction * 100)
        millivolts = m.NOT_KNOWN if voltage_v is None else round(voltage_v * 1000)
        return self.message(m.BATTERY, pack("<BH", percent, millivolts))

    def reply(self, command: Command, code: int = m.DONE) -> bytes:
        """REPLY."""
        return self.message(m.REPLY, pack("<BHB", command.kind, command.sequence, code))


def _ms(now_s: float) -> int:
    return int(now_s * 1000) & _CLOCK


def _share(raw: float) -> int:
    return max(0, min(round(raw * 65536), 65535))
