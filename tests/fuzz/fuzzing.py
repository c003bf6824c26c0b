"""Damage for decoders: seeds of every dialect, and ways to spoil them.  Seeded, bounded, and the same on every machine."""

from __future__ import annotations

import json
import os
import random
from collections.abc import Callable, Iterator
from struct import pack

from meterlink.records import Identity
from meterlink.sensor.dialects.dialect_file import shipped_dialects
from meterlink.sensor.dialects.sensor_side import SensorEncoder

COUNT = int(os.environ.get("METERLINK_FUZZ", "5000"))
"""Frames for all dialects together; METERLINK_FUZZ=1000000 for the long run."""
MAX_FRAME = 4096

CHANNELS = ("2AFB", "2C1C", "2AE9", "2AE4", "2AE3", "2AE5", "2A19", "2A29", "@name", "@has", "2AFE", "zz")


def native_frames() -> list[bytes]:
    """Some of each kind of message of our own format."""
    encoder = SensorEncoder()
    who = Identity(
        "0011223344556677", "Dome", "meterlink-1", "1.0.0", flash=True, ranges=("low", "high"), adc_bits=10,
        ring_samples=1024, sample_interval_s=13e-6,
    )  # fmt: skip
    frames = [encoder.identity(who)]
    frames += [encoder.steady(n / 10, 0, 5000 + n, 10, 490, 510) for n in range(5)]
    frames += [encoder.message(kind, bytes(range(60))) for kind in (2, 3, 4, 5, 6, 7, 8, 15, 99)]
    return frames


def good_frames(kind: str) -> list[bytes]:
    """Frames or lines that the decoder of this kind believes."""
    if kind == "native":
        return native_frames()
    if kind == "text":
        return [b"512.3 lx\r\n", b"E: 47.6 fc; T: 5600 K\n", b"8.3 EV\r", b"47,6 fc\r", b"OL\n", b"0.5 klx; battery: 8 %\n",
                b"pop 211 lxs t01 0.0012 peak 160000\n", b"pops\n", b"pop 3e2 lxs clipped\n", b"7.2 lx # veml\n"]
    if kind == "csv":
        return [b"time_ms,lux,cct_k\n", b"10,512.3,5600\n", b"17;5123;3700\n", b'"a",OL,0\n', b"# note\n"]
    if kind == "json":
        light = {"light": {"lux": 512.3, "x": 0.3127, "y": 0.329}, "battery": 0.5}
        return [json.dumps(light).encode() + b"\n", b'{"log":"x"}\n', b'{"light":{"lux":[{}]}}\n']
    if kind == "senml":
        return [
            b'[{"bn":"a:","bu":"lx","v":1},{"n":"b","t":-1,"v":2}]',
            b'[{"bn":"a:","bt":1.3e9,"bver":10,"n":"l","u":"lx","v":3},{"n":"battery","u":"V","v":3.1}',
            b',{"u":"%EL","v":98},{"vs":"x{[\\"]"},{"vb":true}]',
        ]
    if kind == "modbus":
        from crccheck.crc import CrcModbus

        bodies = [b"\x01\x04\x04" + pack(">f", 512.25), b"\x01\x03\x04\x14\x03\x00\x00", b"\x01\x84\x02", b"\x01\x83\x04"]
        return [body + CrcModbus.calc(body).to_bytes(2, "little") for body in bodies]
    return [b"\x40\xe2\x01", b"\x7c\x15", b"\x0d\x50\x39\x54", b"\x0c\xfe", b"\x57", b"\xff\xff\xff", b"Name"]


def decoders() -> list[tuple[str, str]]:
    """Kind and name of every dialect there is."""
    own = [("native", "meterlink-1"), ("gatt", "bluetooth")]
    return own + [(dialect.kind, dialect.name) for dialect in shipped_dialects()]


def _flip(rng: random.Random, data: bytes, _others: list[bytes]) -> bytes:
    spoilt = bytearray(data)
    for _ in range(rng.randint(1, 4)):
        spoilt[rng.randrange(len(spoilt))] ^= 1 << rng.randrange(8)
    return bytes(spoilt)


def _cut(rng: random.Random, data: bytes, _others: list[bytes]) -> bytes:
    return data[rng.randrange(len(data)) : rng.randrange(len(data) + 1)]


def _splice(rng: random.Random, data: bytes, others: list[bytes]) -> bytes:
    other = rng.choice(others)
    return data[: rng.randrange(len(data) + 1)] + other[rng.randrange(len(other) + 1) :]


def _insert(rng: random.Random, data: bytes, _others: list[bytes]) -> bytes:
    place = rng.randrange(len(data) + 1)
    return data[:place] + rng.randbytes(rng.randint(1, 12)) + data[place:]


def _token(rng: random.Random, data: bytes, _others: list[bytes]) -> bytes:
    """Put what parsers choke on where a number or a name stood."""
    place = rng.randrange(len(data) + 1)
    tokens = (
        b"NaN", b"-Infinity", b"1e999", b"-0", b"9" * 60, b"1_0", b"[" * 40, b'{"a":' * 30, b"\\u0000", b"\xff\xfe",
        b'"', b"\\", b"null", b"true", b"\0", b"\r\n", b"\xd9\xa3", b"e", b".", b",,,", b";;", b"-", b"+", b"%", b"1e308",
    )  # fmt: skip
    return data[:place] + rng.choice(tokens) + data[place + rng.randint(0, 4) :]


def _repeat(rng: random.Random, data: bytes, _others: list[bytes]) -> bytes:
    return (data * rng.randint(2, 40))[:MAX_FRAME]


def _noise(rng: random.Random, _data: bytes, _others: list[bytes]) -> bytes:
    return rng.randbytes(rng.randint(0, 64))


def _as_it_is(_rng: random.Random, data: bytes, _others: list[bytes]) -> bytes:
    return data


_WAYS: tuple[Callable[[random.Random, bytes, list[bytes]], bytes], ...] = (
    _flip, _flip, _cut, _splice, _splice, _insert, _token, _token, _repeat, _noise, _as_it_is,
)  # fmt: skip


def spoilt_frames(kind: str, seed: int, count: int) -> Iterator[bytes]:
    """``count`` frames, most of them damaged, spliced or random."""
    rng = random.Random(f"{kind}-{seed}")
    good = good_frames(kind)
    for _ in range(count):
        yield rng.choice(_WAYS)(rng, rng.choice(good), good)
