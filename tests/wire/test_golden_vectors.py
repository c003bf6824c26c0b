"""The golden vectors of wire format v1 (shared/wire/vectors.json), made by a script that shares no code with this side.

COBS pairs and the CRC check value in them come from published tables; each names its source.
"""

from __future__ import annotations

import json
import struct
import zlib
from pathlib import Path
from typing import Any

import pytest
from cobs import cobs

from meterlink.errors import FrameError
from meterlink.records import Battery, Colour, HeldOff, Identity, PopNotice, RangerState, Reply, Status, Steady, WaveBlock
from meterlink.sensor.dialects import messages as m
from meterlink.sensor.dialects.base import DecoderStats
from meterlink.sensor.dialects.frames import FrameReader, encode
from meterlink.sensor.dialects.native import NativeDecoder
from meterlink.sensor.dialects.sensor_side import SensorEncoder, parse_command

VECTORS = json.loads((Path(__file__).parents[2] / "shared/wire/vectors.json").read_text())
TO_HOST = [v for v in VECTORS["messages"] if v["to"] == "host"]
TO_SENSOR = [v for v in VECTORS["messages"] if v["to"] == "sensor"]
STREAMS = [s for s in VECTORS["streams"] if s["to"] == "host"]
SENSOR_STREAMS = [s for s in VECTORS["streams"] if s["to"] == "sensor"]


def name(vector: dict[str, Any]) -> str:
    """Return what a failing vector is called."""
    return str(vector["name"])


def decoder_with_ten_bits() -> NativeDecoder:
    """Return a decoder that knows a sensor of 10 bits and stands before no particular sequence number."""
    decoder = NativeDecoder()
    identity = Identity("4d4c000102030405", "dome", m.DIALECT, "0.1.0", flash=True, adc_bits=10, sample_interval_s=13e-6)
    decoder.feed(SensorEncoder().identity(identity), 0.0)
    decoder.reset()
    return decoder


@pytest.mark.parametrize("pair", VECTORS["cobs"], ids=lambda p: p["decoded"][:24])
def test_cobs_package_agrees_with_published_pairs(pair: dict[str, str]) -> None:
    """The COBS that we rely on encodes and decodes the published examples."""
    plain, encoded = bytes.fromhex(pair["decoded"]), bytes.fromhex(pair["encoded"])
    assert cobs.encode(plain) == encoded
    assert cobs.decode(encoded) == plain


def test_crc_has_the_check_value_of_its_catalogue() -> None:
    """zlib's CRC is CRC-32/ISO-HDLC: '123456789' gives 0xCBF43926."""
    (vector,) = VECTORS["crc"]
    assert f"{zlib.crc32(bytes.fromhex(vector['data'])):08x}" == vector["crc32"]


def expected(vector: dict[str, Any]) -> Any:
    """Return the sample that the fields of a vector mean, by the words of wire-v1.md."""
    f, raw, kind = vector["fields"], vector.get("raw", {}), vector["kind"]
    held_off = None if f.get("distance_mm", 65535) == 65535 else f["distance_mm"] / 1000
    if kind == "IDENTITY":
        bit = [bool(f["capabilities"] >> i & 1) for i in range(6)]
        names = {1: ("only",), 2: ("bright", "dim")}.get(f["ranges"], ("bright", *[f"middle {i}" for i in range(1, 7)], "dim"))
        factors = tuple(pytest.approx(f["interval_ns"] * 1e-9 * k) for k in (1, 2, 4, 8)) if bit[5] else ()
        return Identity(
            f["unique_id"],
            f["name"] or "sensor",
            "meterlink-1",
            ".".join(map(str, f["firmware"])),
            bit[0],
            bit[1],
            bit[2],
            names,
            bit[3],
            f["adc_bits"],
            f["ring"],
            pytest.approx(f["interval_ns"] * 1e-9),
            bit[4],
            factors,
        )
    if kind == "STEADY":
        if f["flags"] & 2:
            return None
        return Steady(9.0, raw["mean"], f["range"], bool(f["flags"] & 1), None, raw["min"], raw["max"], 0.0, held_off, f["count"])
    if kind == "POP":
        return PopNotice(9.0, f["pop"], f["range"], 0)
    if kind == "BLOCK":
        segments, start = [], 0
        for count, interval_ns in f["segments"]:
            segments.append((start, count, pytest.approx(interval_ns * 1e-9)))
            start += count
        data = struct.pack(f"<{start}{'BH'[f['sample_bytes'] - 1]}", *f["samples"])
        return WaveBlock(
            9.0,
            f["pop"],
            data,
            8 * f["sample_bytes"],
            f["scale_bits"],
            tuple(segments),
            f["pretrigger"],
            f["range"],
            bool(f["flags"] & 1),
            bool(f["flags"] & 2),
            held_off,
        )
    if kind == "STATUS":
        return Status(
            9.0,
            f["range"],
            bool(f["flags"] & 1),
            bool(f["flags"] & 2),
            raw["baseline"],
            raw["threshold"],
            f["pretrigger"],
            pytest.approx(f["interval_ns"] * 1e-9),
            f["pops_seen"],
            f["pops_lost"],
            f["frames_refused"],
            f["uptime_ms"] / 1000,
            raw.get("reference", 0.0),
            f.get("reference_by_design", 0) / 65536,
            f.get("reference_tolerance", 0) / 65536,
            None if f.get("temperature", 32767) == 32767 else pytest.approx(f["temperature"] / 10),
            None if f.get("supply_mv", 65535) == 65535 else pytest.approx(f["supply_mv"] / 1000),
            f.get("overruns", 0),
        )
    if kind == "COLOUR":
        if f["flags"] & 2:
            return Colour(9.0, *(pytest.approx(c / 65535) for c in f["channels"]), during_pop=bool(f["flags"] & 1))
        return Colour(9.0, channels=tuple(map(float, f["channels"])), during_pop=bool(f["flags"] & 1))
    if kind == "DISTANCE":
        if "status" not in f:
            return HeldOff(9.0, held_off)
        names = ("good", "nothing", "weak", "bright", "ambiguous", "silent")
        u_m, signal = (None if f[one] == 65535 else f[one] for one in ("uncertainty_mm", "signal"))
        return HeldOff(
            9.0,
            held_off,
            None if u_m is None else u_m / 1000,
            RangerState(dict(enumerate(names)).get(f["status"], "other")),
            None if signal is None else signal * 1000.0,
        )
    if kind == "BATTERY":
        return Battery(
            9.0,
            None if f["percent"] == 255 else f["percent"] / 100,
            None if f["millivolts"] == 65535 else f["millivolts"] / 1000,
        )
    assert kind == "REPLY"
    return Reply(9.0, f["command"], f["its_sequence"], f["code"], m.REPLY_TEXTS[f["code"]])


@pytest.mark.parametrize("vector", TO_HOST, ids=name)
def test_every_message_means_what_its_vector_says(vector: dict[str, Any]) -> None:
    """A good frame becomes the sample that the specification describes, and nothing is counted as damaged."""
    decoder = decoder_with_ten_bits()
    samples = decoder.feed(bytes.fromhex(vector["frame"]), 9.0)
    assert samples == [s for s in [expected(vector)] if s is not None]
    assert not decoder.stats.damaged


@pytest.mark.parametrize("vector", VECTORS["messages"], ids=name)
def test_frames_are_built_byte_for_byte(vector: dict[str, Any]) -> None:
    """Our encoder makes the very bytes of the vector from its message."""
    assert encode(bytes.fromhex(vector["message"])).hex() == vector["frame"]


@pytest.mark.parametrize("vector", TO_SENSOR, ids=name)
def test_commands_are_the_bytes_of_the_vectors(vector: dict[str, Any]) -> None:
    """What the decoder says to a sensor is what the firmware's tests understand."""
    decoder, f = NativeDecoder(), vector["fields"]
    decoder._sequence = vector["sequence"]
    said = {
        "IDENTIFY": lambda: decoder.identify()[1:],
        "SET_RANGE": lambda: decoder.command(m.SET_RANGE, f["range"]),
        "ARM": lambda: decoder.message(m.ARM, bytes((f["on"],)) + f["threshold"].to_bytes(2, "little")),
        "STEADY_RATE": lambda: decoder.command(m.STEADY_RATE, f["hz"]),
        "SET_INTERVAL": lambda: decoder.command(m.SET_INTERVAL, f["factor"]),
        "GET_STATUS": lambda: decoder.command(m.GET_STATUS),
        "SET_IDENTITY": lambda: decoder.set_identity(f["unique_id"], f["name"]),
    }[vector["kind"]]()
    assert said.hex() == vector["frame"]


NOT_SAID = ("identity_no_name", "identity_longest_name_all_bits")
"""A minor version, capabilities and an empty name that our side never says."""


@pytest.mark.parametrize("vector", [v for v in TO_HOST if v["name"] not in NOT_SAID], ids=name)
def test_the_simulated_sensors_encoder_makes_the_vectors(vector: dict[str, Any]) -> None:
    """Decoding a vector and saying it again as a sensor gives the same bytes, but for what samples do not keep."""
    kind, f = vector["kind"], vector["fields"]
    encoder = SensorEncoder()
    encoder._sequence = vector["sequence"]
    now_s = f.get("time_ms", f.get("uptime_ms", 0)) / 1000 + 1e-4
    sample = expected(vector)
    if kind == "STEADY":
        said = encoder.steady(
            now_s,
            f["range"],
            f["sum"],
            f["count"],
            f["min"],
            f["max"],
            clipped=bool(f["flags"] & 1),
            range_switched=bool(f["flags"] & 2),
            held_off_m=None if f["distance_mm"] == 65535 else f["distance_mm"] / 1000,
        )
    elif kind == "POP":
        said = encoder.pop(now_s, f["pop"], f["range"], clipped=bool(f["flags"] & 1), lost=f["lost"])
    elif kind == "BLOCK":
        said = encoder.block(now_s, NativeDecoder().feed(bytes.fromhex(vector["frame"]), 0.0)[0])  # type: ignore[arg-type]
    elif kind == "STATUS":
        said = encoder.status(
            now_s,
            f["range"],
            armed=bool(f["flags"] & 1),
            saturated=bool(f["flags"] & 2),
            baseline_raw=sample.baseline_raw,
            threshold_raw=sample.threshold_raw,
            pretrigger=f["pretrigger"],
            sample_interval_s=f["interval_ns"] * 1e-9,
            counts=(f["pops_seen"], f["pops_lost"], f["frames_refused"]),
            reference=(
                (sample.reference_raw, sample.reference_by_design_raw, sample.reference_tolerance_rel) if "reference" in f else None
            ),
            warmth=(
                None if f["temperature"] == 32767 else f["temperature"] / 10,
                None if f["supply_mv"] == 65535 else f["supply_mv"] / 1000,
                f["overruns"],
            )
            if "overruns" in f
            else None,
        )
    elif kind == "COLOUR" and f["flags"] & 2:
        said = encoder.chromaticity(f["channels"][0] / 65535, f["channels"][1] / 65535)
    elif kind == "COLOUR":
        said = encoder.channels(tuple(f["channels"]), during_pop=bool(f["flags"] & 1))
    elif kind == "DISTANCE":
        said = encoder.distance(sample, figures="status" in f)
    elif kind == "BATTERY":
        said = encoder.battery(sample.fraction, sample.voltage_v)
    elif kind == "REPLY":
        command = parse_command(m.HEADER.pack(1, f["command"], f["its_sequence"]) + bytes(8))
        said = encoder.reply(command, f["code"])
    else:
        said = encoder.identity(NativeDecoder().feed(bytes.fromhex(vector["frame"]), 0.0)[0])  # type: ignore[arg-type]
    assert said.hex() == vector["frame"]


def bytes_of(stream: dict[str, Any]) -> bytes:
    """Join the parts of a stream vector."""
    return b"".join(bytes.fromhex(part) * times for part, times in stream["parts"])


RESTARTS = {"every_message_to_host": 65535}
"""A number that went back by a few: the vectors count all numbers up to it as missing, we take it for an old frame."""


@pytest.mark.parametrize("chunk", [1, 7, 64, 4096, 10**7])
@pytest.mark.parametrize("stream", STREAMS, ids=name)
def test_streams_give_their_frames_and_counts_in_any_cut(stream: dict[str, Any], chunk: int) -> None:
    """Good frames come through, damaged ones are counted by reason, however the bytes are cut."""
    data = bytes_of(stream)
    decoder = NativeDecoder()
    for i in range(0, len(data), chunk):
        decoder.feed(data[i : i + chunk], 1.0)
    stats, counts = decoder.stats, stream["counts"]
    assert stats.frames == len(stream["frames"])
    assert stats.damaged == {k: counts[k] for k in ("cobs", "length", "crc", "body") if counts[k]}
    assert (stats.unknown_version, stats.unknown_type) == (counts["unknown_version"], counts["unknown_type"])
    assert stats.lost == counts["missing"] - RESTARTS.get(stream["name"], 0)


@pytest.mark.parametrize("stream", STREAMS, ids=name)
def test_delivered_frames_are_those_of_the_vector(stream: dict[str, Any]) -> None:
    """The frame reader delivers, in order, the frames named by type, sequence, length and CRC."""
    seen = []
    for frame in FrameReader(DecoderStats()).feed(bytes_of(stream)):
        version, kind, sequence = m.HEADER.unpack_from(frame)
        crc = f"{zlib.crc32(frame[:-4]):08x}"
        if version == 1:
            seen.append({"type": kind, "sequence": sequence, "length": len(frame) - 4, "crc32": crc})
    assert [f for f in seen if f in stream["frames"]] == stream["frames"]


@pytest.mark.parametrize("stream", SENSOR_STREAMS, ids=name)
def test_the_sensor_side_obeys_what_its_vectors_say(stream: dict[str, Any]) -> None:
    """Commands that verify are understood, the others are refused, as the firmware does it."""
    stats = DecoderStats()
    kinds, refused, unknown = [], 0, 0
    for frame in FrameReader(stats).feed(bytes_of(stream)):
        try:
            command = parse_command(frame)
        except FrameError:
            refused += 1
            continue
        if command.kind <= m.SET_IDENTITY:
            kinds.append((command.kind, command.sequence))
        else:
            unknown += 1
    assert kinds == [(f["type"], f["sequence"]) for f in stream["frames"]]
    assert unknown <= stream["counts"]["unknown_type"]
    assert stats.damaged_total == sum(stream["counts"][k] for k in ("cobs", "length", "crc"))
