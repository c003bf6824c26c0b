"""Make the golden vectors of wire format v1: ``vectors.json`` and its flat twin ``vectors.txt``.

Run it without arguments to write both files beside this script; with ``--check`` it writes nothing and exits 1 when
the files differ from what it would write.  It shares no code with the reader or the firmware: its own COBS, its own
``struct`` layouts, ``zlib`` for the CRC.  The expectations of the streams are written by hand and then checked
against the small reader at the end of this file, so a slip in either shows here and not in a user's decoder.

What the files hold::

    cobs      decoded <-> encoded, from published tables (the source stands with each)
    crc       the check value of CRC-32/ISO-HDLC
    messages  one good frame each: ``frame`` (with its 0x00), ``message`` (without CRC), ``fields``, and where a
              conversion is part of the contract ``raw`` (fractions of full scale)
    streams   bytes as they come, as ``parts`` [[hex, times], ...] to be joined; the ``frames`` that a receiver must
              deliver, in order, each by type, sequence, length and CRC of its message; ``counts`` of what it must
              drop.  ``to`` is the receiver: ``host`` or ``sensor``.

Reasons are looked for in this order: cobs, length, crc, unknown_version, unknown_type, body.  ``missing`` counts
frames that the sequence numbers show as lost between delivered frames; a frame whose CRC and version are right takes
part in it even if its type is unknown or its body refused.  Bytes after the last 0x00 are pending, not damaged.
"""

from __future__ import annotations

import json
import random
import struct
import sys
import zlib
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
LONGEST_DECODED = 66_048
LONGEST_ENCODED = LONGEST_DECODED + LONGEST_DECODED // 254 + 1
SHORTEST_DECODED = 8

TYPES = {
    "IDENTITY": 0x01, "STEADY": 0x02, "POP": 0x03, "BLOCK": 0x04, "STATUS": 0x05, "COLOUR": 0x06,
    "DISTANCE": 0x07, "BATTERY": 0x08, "REPLY": 0x0F,
    "IDENTIFY": 0x81, "SET_RANGE": 0x82, "ARM": 0x83, "STEADY_RATE": 0x84, "SET_INTERVAL": 0x85, "GET_STATUS": 0x86,
    "SET_IDENTITY": 0x87,
}  # fmt: skip
TO_SENSOR = 0x80

Fields = dict[str, Any]


# ---------------------------------------------------------------------------------------------------- frames


def cobs_encode(data: bytes) -> bytes:
    """COBS without the final 0x00 (Cheshire & Baker 1999): each zero becomes the distance to the next."""
    out = bytearray()
    run = bytearray()
    full_run_ended_data = False
    for byte in data:
        full_run_ended_data = False
        if byte:
            run.append(byte)
            if len(run) == 254:
                out += b"\xff" + run
                run.clear()
                full_run_ended_data = True
        else:
            out += bytes([len(run) + 1]) + run
            run.clear()
    if not full_run_ended_data:
        out += bytes([len(run) + 1]) + run
    return bytes(out)


def with_crc(message: bytes) -> bytes:
    """The message with its CRC behind it."""
    return message + struct.pack("<I", zlib.crc32(message))


def frame(message: bytes) -> bytes:
    """The message as it goes over the line, with the ending 0x00."""
    return cobs_encode(with_crc(message)) + b"\0"


def message_of(kind: str, sequence: int, body: bytes, version: int = 1) -> bytes:
    """Header and body."""
    return struct.pack("<BBH", version, TYPES[kind], sequence) + body


# ---------------------------------------------------------------------------------------------------- bodies


def body_of(kind: str, f: Fields) -> bytes:
    """The body of a message from its fields, in the order of the specification."""
    packers = {
        "IDENTITY": _identity, "STEADY": _steady, "POP": _pop, "BLOCK": _block, "STATUS": _status,
        "COLOUR": _colour, "SET_IDENTITY": _set_identity, "DISTANCE": _distance,
    }  # fmt: skip
    if kind in packers:
        return packers[kind](f)
    layouts = {
        "BATTERY": ("<BH", "percent millivolts"),
        "REPLY": ("<BHB", "command its_sequence code"), "IDENTIFY": ("<", ""), "SET_RANGE": ("<B", "range"),
        "ARM": ("<BH", "on threshold"), "STEADY_RATE": ("<B", "hz"), "SET_INTERVAL": ("<B", "factor"),
        "GET_STATUS": ("<", ""),
    }  # fmt: skip
    layout, names = layouts[kind]
    return struct.pack(layout, *(f[name] for name in names.split()))


def _identity(f: Fields) -> bytes:
    name = f["name"].encode()
    return (
        struct.pack("<BBBB", f["minor"], *f["firmware"])
        + bytes.fromhex(f["unique_id"])
        + struct.pack("<HBHIB", f["capabilities"], f["adc_bits"], f["ring"], f["interval_ns"], f["ranges"])
        + bytes([len(name)])
        + name
    )


def _steady(f: Fields) -> bytes:
    return struct.pack("<IBBIHHHH", f["time_ms"], f["range"], f["flags"], f["sum"], f["count"], f["min"], f["max"],
                       f["distance_mm"])  # fmt: skip


def _pop(f: Fields) -> bytes:
    return struct.pack("<IHBBH", f["time_ms"], f["pop"], f["range"], f["flags"], f["lost"])


def _block(f: Fields) -> bytes:
    head = struct.pack("<IHBBBBHHB", f["time_ms"], f["pop"], f["range"], f["flags"], f["sample_bytes"],
                       f["scale_bits"], f["pretrigger"], f["distance_mm"], len(f["segments"]))  # fmt: skip
    segments = b"".join(struct.pack("<HI", count, interval) for count, interval in f["segments"])
    code = {1: "B", 2: "H"}[f["sample_bytes"]]
    return head + segments + struct.pack(f"<{len(f['samples'])}{code}", *f["samples"])


def _status(f: Fields) -> bytes:
    body = struct.pack("<IBBHHHIHHH", f["uptime_ms"], f["range"], f["flags"], f["baseline"], f["threshold"],
                       f["pretrigger"], f["interval_ns"], f["pops_seen"], f["pops_lost"],
                       f["frames_refused"])  # fmt: skip
    if "reference" in f:
        body += struct.pack("<HHH", f["reference"], f["reference_by_design"], f["reference_tolerance"])
    if "overruns" in f:
        body += struct.pack("<hHH", f["temperature"], f["supply_mv"], f["overruns"])
    return body


def _distance(f: Fields) -> bytes:
    body = struct.pack("<H", f["distance_mm"])
    if "status" in f:
        body += struct.pack("<HBH", f["uncertainty_mm"], f["status"], f["signal"])
    return body


def _set_identity(f: Fields) -> bytes:
    name = f["name"].encode()
    return bytes.fromhex(f["unique_id"]) + bytes([len(name)]) + name


def _colour(f: Fields) -> bytes:
    return struct.pack(f"<BB{len(f['channels'])}I", f["flags"], len(f["channels"]), *f["channels"])


# ------------------------------------------------------------------------------------------------ good messages


def flash_samples(count: int, pretrigger: int, dark: int, peak: int, decay: float, bits: int) -> list[int]:
    """A made-up flash in integers: dark, a rise of a few samples, an exponential fall, a little fixed noise."""
    noise = random.Random(count)
    out = []
    for i in range(count):
        t = i - pretrigger
        light = 0.0 if t < 0 else (peak - dark) * min(1.0, (t + 1) / 4) * 2.718281828 ** (-max(0, t - 3) / decay)
        out.append(max(0, min(2**bits - 1, round(dark + light + noise.choice((-1, 0, 0, 0, 1))))))
    return out


def message_cases() -> list[tuple[str, str, int, Fields]]:
    """(name, kind, sequence, fields) of every good message."""
    identity = {
        "minor": 0, "firmware": [0, 1, 0], "unique_id": "4d4c000102030405", "capabilities": 0b100011, "adc_bits": 10,
        "ring": 1024, "interval_ns": 13000, "ranges": 2, "name": "dome 1",
    }  # fmt: skip
    steady = {"time_ms": 100, "range": 0, "flags": 0, "sum": 3_938_304, "count": 7692, "min": 508, "max": 516,
              "distance_mm": 0xFFFF}  # fmt: skip
    pop = {"time_ms": 61_234, "pop": 7, "range": 1, "flags": 0, "lost": 0}
    block = {"time_ms": 61_234, "pop": 7, "range": 1, "flags": 0, "sample_bytes": 1, "scale_bits": 8, "pretrigger": 4,
             "distance_mm": 0xFFFF, "segments": [[16, 13000]],
             "samples": [3, 3, 2, 3, 40, 160, 204, 190, 150, 118, 93, 73, 58, 45, 36, 0]}  # fmt: skip
    status = {"uptime_ms": 123_456, "range": 0, "flags": 1, "baseline": 640, "threshold": 1536, "pretrigger": 128,
              "interval_ns": 13000, "pops_seen": 3, "pops_lost": 1, "frames_refused": 2}  # fmt: skip
    own_reference = {"reference": 0, "reference_by_design": 0, "reference_tolerance": 0}
    two = block | {
        "sample_bytes": 2,
        "scale_bits": 12,
        "segments": [[4, 2000], [3, 8000], [1, 64000]],
        "samples": [0, 255, 256, 4095, 2048, 1024, 512, 0],
        "pretrigger": 1,
        "distance_mm": 187,
    }
    ring = block | {"pop": 8, "pretrigger": 128, "segments": [[1024, 13000]],
                    "samples": flash_samples(1024, 128, 5, 205, 60.0, 8)}  # fmt: skip
    tail = block | {"pop": 9, "flags": 2, "pretrigger": 128, "segments": [[512, 13000], [256, 26000], [256, 52000]],
                    "samples": flash_samples(1024, 128, 9, 230, 400.0, 8)}  # fmt: skip
    flat = block | {"pop": 10, "flags": 3, "pretrigger": 0, "segments": [[1400, 13000]], "samples": [255] * 1400}
    return [
        ("identity", "IDENTITY", 0, identity),
        ("identity_no_name", "IDENTITY", 1, identity | {"name": "", "unique_id": "0000000000000000"}),
        ("identity_utf8_name", "IDENTITY", 2, identity | {"name": "Kuppel für Gesicht"}),
        ("identity_longest_name_all_bits", "IDENTITY", 0xFFFF, {
            "minor": 255, "firmware": [255, 254, 253], "unique_id": "ffffffffffffffff", "capabilities": 0xFFFF,
            "adc_bits": 16, "ring": 65535, "interval_ns": 0xFFFFFFFF, "ranges": 8, "name": "n" * 32}),
        ("steady", "STEADY", 3, steady),
        ("steady_dark", "STEADY", 4, steady | {"sum": 0, "min": 0, "max": 0}),
        ("steady_clipped_switched_with_distance", "STEADY", 5, steady | {
            "time_ms": 0xFFFFFFFF, "range": 1, "flags": 3, "sum": 1023 * 65535, "count": 65535, "min": 1023,
            "max": 1023, "distance_mm": 203}),
        ("steady_one_sample", "STEADY", 6, steady | {"sum": 1, "count": 1, "min": 1, "max": 1, "distance_mm": 0}),
        ("pop", "POP", 7, pop),
        ("pop_clipped_others_lost", "POP", 8, pop | {"pop": 0xFFFF, "range": 0, "flags": 1, "lost": 300}),
        ("block_small", "BLOCK", 9, block),
        ("block_16_bit_three_segments", "BLOCK", 10, two),
        ("block_full_ring", "BLOCK", 11, ring),
        ("block_averaged_tail", "BLOCK", 12, tail),
        ("block_clipped_flat_no_zero_byte", "BLOCK", 13, flat),
        ("status", "STATUS", 14, status),
        ("status_extremes", "STATUS", 15, {
            "uptime_ms": 0xFFFFFFFF, "range": 1, "flags": 3, "baseline": 0xFFFF, "threshold": 0xFFFF,
            "pretrigger": 0xFFFF, "interval_ns": 104_000, "pops_seen": 0xFFFF, "pops_lost": 0xFFFF,
            "frames_refused": 0xFFFF}),
        ("colour_xy", "COLOUR", 16, {"flags": 2, "channels": [20_493, 21_561]}),
        ("colour_channels_in_pop", "COLOUR", 17, {"flags": 1, "channels": [1, 0, 0xFFFFFFFF, 70_000, 256, 9, 8, 7]}),
        ("colour_sixteen_channels", "COLOUR", 18, {"flags": 0, "channels": list(range(16))}),
        ("distance", "DISTANCE", 19, {"distance_mm": 187}),
        ("distance_not_known", "DISTANCE", 20, {"distance_mm": 0xFFFF}),
        ("battery", "BATTERY", 21, {"percent": 83, "millivolts": 3912}),
        ("battery_not_known", "BATTERY", 22, {"percent": 255, "millivolts": 0xFFFF}),
        ("reply_done", "REPLY", 23, {"command": 0x82, "its_sequence": 2, "code": 0}),
        ("reply_unknown_command", "REPLY", 24, {"command": 0xEE, "its_sequence": 0xFFFF, "code": 1}),
        ("reply_value_not_possible", "REPLY", 25, {"command": 0x85, "its_sequence": 0, "code": 2}),
        ("reply_busy", "REPLY", 26, {"command": 0x83, "its_sequence": 256, "code": 3}),
        ("status_reference", "STATUS", 27, status | {
            "reference": 15_360, "reference_by_design": 14_923, "reference_tolerance": 5957}),
        ("status_reference_not_measured", "STATUS", 28, status | {
            "reference": 0, "reference_by_design": 0xFFFF, "reference_tolerance": 0xFFFF}),
        ("distance_good", "DISTANCE", 29, {"distance_mm": 203, "uncertainty_mm": 3, "status": 0, "signal": 8750}),
        ("distance_no_figures", "DISTANCE", 30, {
            "distance_mm": 0, "uncertainty_mm": 0xFFFF, "status": 0, "signal": 0xFFFF}),
        ("distance_nothing_there", "DISTANCE", 31, {
            "distance_mm": 0xFFFF, "uncertainty_mm": 0xFFFF, "status": 1, "signal": 12}),
        ("distance_of_a_later_status", "DISTANCE", 32, {
            "distance_mm": 0xFFFF, "uncertainty_mm": 7, "status": 255, "signal": 0}),
        ("status_warm", "STATUS", 33, status | own_reference | {"temperature": 413, "supply_mv": 3304, "overruns": 2}),
        ("status_frost", "STATUS", 34, status | own_reference | {
            "temperature": -105, "supply_mv": 0xFFFF, "overruns": 0xFFFF}),
        ("status_temperature_not_known", "STATUS", 35, status | own_reference | {
            "temperature": 0x7FFF, "supply_mv": 0xFFFF, "overruns": 0}),
        ("identify", "IDENTIFY", 0, {}),
        ("set_range_bright", "SET_RANGE", 1, {"range": 0}),
        ("set_range_dim", "SET_RANGE", 2, {"range": 1}),
        ("arm", "ARM", 3, {"on": 1, "threshold": 2048}),
        ("arm_leave_threshold", "ARM", 4, {"on": 1, "threshold": 0}),
        ("disarm", "ARM", 5, {"on": 0, "threshold": 0}),
        ("steady_rate", "STEADY_RATE", 6, {"hz": 50}),
        ("steady_off", "STEADY_RATE", 7, {"hz": 0}),
        ("set_interval_1", "SET_INTERVAL", 8, {"factor": 1}),
        ("set_interval_8", "SET_INTERVAL", 0xFFFF, {"factor": 8}),
        ("get_status", "GET_STATUS", 9, {}),
        ("set_identity", "SET_IDENTITY", 10, {"unique_id": "4d4c000102030405", "name": "my dome"}),
        ("set_identity_no_name", "SET_IDENTITY", 11, {"unique_id": "00000000000000ff", "name": ""}),
    ]  # fmt: skip


def raw_of(kind: str, f: Fields) -> Fields:
    """The conversions that the specification fixes: half a code added, fraction of full scale."""
    if kind == "STEADY":  # codes of 10 bits, as the identity vector says
        return {"mean": (f["sum"] / f["count"] + 0.5) / 1024, "min": (f["min"] + 0.5) / 1024,
                "max": (f["max"] + 0.5) / 1024}  # fmt: skip
    if kind == "BLOCK" and len(f["samples"]) <= 32:
        return {"samples": [(s + 0.5) / 2 ** f["scale_bits"] for s in f["samples"]]}
    if kind == "STATUS":
        raw = {"baseline": f["baseline"] / 65536, "threshold": f["threshold"] / 65536}
        return raw | {"reference": f["reference"] / 65536} if f.get("reference") else raw
    return {}


def messages() -> list[Fields]:
    """The good messages as they stand in the file."""
    out = []
    for name, kind, sequence, fields in message_cases():
        message = message_of(kind, sequence, body_of(kind, fields))
        entry = {"name": name, "to": "sensor" if TYPES[kind] >= TO_SENSOR else "host", "kind": kind,
                 "type": TYPES[kind], "sequence": sequence, "fields": fields, "message": message.hex(),
                 "frame": frame(message).hex()}  # fmt: skip
        raw = raw_of(kind, fields)
        if raw:
            entry["raw"] = raw
        out.append(entry)
    return out


# ------------------------------------------------------------------------------------------------------ streams


class Stream:
    """One stream under construction: its bytes, what must be delivered and what must be counted."""

    def __init__(self, name: str, to: str = "host", why: str = "") -> None:
        self.name, self.to, self.why = name, to, why
        self.parts: list[tuple[bytes, int]] = []
        self.frames: list[bytes] = []
        self.counts = dict.fromkeys(("cobs", "length", "crc", "body", "unknown_version", "unknown_type", "missing"), 0)

    def good(self, message: bytes) -> Stream:
        """Add a frame that must be delivered."""
        self.frames.append(message)
        return self.raw(frame(message))

    def raw(self, data: bytes, times: int = 1, **counts: int) -> Stream:
        """Add bytes, and what they must add to the counts."""
        self.parts.append((data, times))
        for reason, count in counts.items():
            self.counts[reason] += count
        return self

    def entry(self) -> Fields:
        """As it stands in the file."""
        return {
            "name": self.name, "to": self.to, "why": self.why,
            "parts": [[data.hex(), times] for data, times in self.parts],
            "frames": [{"type": m[1], "sequence": struct.unpack("<H", m[2:4])[0], "length": len(m),
                        "crc32": f"{zlib.crc32(m):08x}"} for m in self.frames],
            "counts": self.counts,
        }  # fmt: skip


def streams() -> list[Fields]:
    """All streams, each checked against the reader below."""
    good = {name: message_of(kind, seq, body_of(kind, f)) for name, kind, seq, f in message_cases()}
    out = [*_clean_streams(good), *_damaged_frames(good), *_damaged_lines(good), *_refused_bodies(good),
           *_sensor_streams(good)]  # fmt: skip
    entries = [s.entry() for s in out]
    for stream, entry in zip(out, entries, strict=True):
        _check(stream, entry)
    return entries


def _clean_streams(good: dict[str, bytes]) -> list[Stream]:
    def steady(seq: int) -> bytes:
        return good["steady"][:2] + struct.pack("<H", seq) + good["steady"][4:]

    every = Stream("every_message_to_host", why="all good messages in one go, in order")
    for name, kind, _, _ in message_cases():
        if TYPES[kind] < TO_SENSOR:
            every.good(good[name])
    every.counts["missing"] = 65532 + 3  # identity_longest_name_all_bits: from 2 to 0xFFFF, and from there to 3
    wrap = Stream("sequence_wraps", why="0xFFFF is followed by 0: no frame is missing")
    for seq in (0xFFFE, 0xFFFF, 0, 1):
        wrap.good(steady(seq))
    gap = Stream("sequence_gap", why="5 then 9: three frames are missing")
    gap.good(steady(4)).good(steady(5)).good(steady(9)).counts["missing"] = 3
    empty = Stream("empty_frames", why="two 0x00 in a row are legal and nobody's damage")
    empty.raw(b"\0\0\0").good(steady(0)).raw(b"\0\0").good(steady(1)).raw(b"\0")
    pending = Stream("unfinished_at_end", why="bytes after the last 0x00 wait for more")
    pending.good(steady(0)).raw(frame(steady(1))[:-1])
    grown = Stream("grown_bodies", why="bytes at the end of a body that a newer minor version added are ignored")
    for name in ("identity", "steady", "pop", "block_small", "status", "distance", "battery", "reply_done"):
        grown.good(good[name] + b"\x01\x00\xfe")
    grown.counts["missing"] = sum(b - a - 1 for a, b in ((0, 3), (3, 7), (7, 9), (9, 14), (14, 19), (19, 21), (21, 23)))
    longest = Stream("longest_frame", why="66,048 decoded bytes: the most that is legal")
    head = struct.pack("<IHBBBBHHB", 1, 1, 0, 0, 1, 8, 128, 0xFFFF, 2) + struct.pack("<HIHI", 65535, 13000, 400, 26000)
    body = head + b"\x55" * (LONGEST_DECODED - 8 - len(head))
    message = message_of("BLOCK", 0, body)
    longest.frames.append(message)
    for data, times in _runs(frame(message)):
        longest.raw(data, times)
    return [every, wrap, gap, empty, pending, grown, longest]


def _runs(data: bytes) -> list[tuple[bytes, int]]:
    """The bytes with full COBS groups of one value folded, so that a long frame stays a short line."""
    out: list[tuple[bytes, int]] = []
    group = b"\xff" + b"\x55" * 254
    start = data.find(group)
    times = 0
    while data[start + times * 255 : start + (times + 1) * 255] == group:
        times += 1
    out.append((data[:start], 1))
    out.append((group, times))
    out.append((data[start + times * 255 :], 1))
    return out


def _damaged_frames(good: dict[str, bytes]) -> list[Stream]:
    def numbered(seq: int) -> bytes:
        return good["pop"][:2] + struct.pack("<H", seq) + good["pop"][4:]

    def around(name: str, bad: bytes, reason: str, why: str, missing: int = 0) -> Stream:
        s = Stream(name, why=why).good(numbered(1)).raw(bad, **{reason: 1}).good(numbered(3))
        s.counts["missing"] = missing
        return s

    two = frame(numbered(2))
    flipped = with_crc(numbered(2))
    flipped = flipped[:9] + bytes([flipped[9] ^ 0x10]) + flipped[10:]
    version2 = message_of("POP", 2, good["pop"][4:], version=2)
    unknown = struct.pack("<BBH", 1, 0x3A, 2) + b"what"
    swapped = numbered(2) + struct.pack(">I", zlib.crc32(numbered(2)))
    return [
        around("bad_cobs", bytes([two[0] + 60]) + two[1:], "cobs", "a code byte points beyond the frame's end", 1),
        around("bad_cobs_lone_code", b"\x05\0", "cobs", "a code byte with nothing behind it", 1),
        around("bad_crc_one_bit", cobs_encode(flipped) + b"\0", "crc", "one bit of the body flipped", 1),
        around("bad_crc_byte_order", cobs_encode(swapped) + b"\0", "crc", "the CRC is sent low byte first", 1),
        around("too_short", cobs_encode(b"\x01\x03\x02\x01\x07\x09\x08") + b"\0", "length", "7 decoded bytes", 1),
        around("too_short_one_byte", b"\x02\x55\0", "length", "one decoded byte", 1),
        around("version_2", frame(version2), "unknown_version", "right CRC, version 2", 1),
        around("version_0", frame(b"\0" + numbered(2)[1:]), "unknown_version", "right CRC, version 0", 1),
        around("type_unknown", frame(unknown), "unknown_type", "right CRC, type 0x3A; its number counts"),
        around("type_0", frame(struct.pack("<BBH", 1, 0, 2)), "unknown_type", "right CRC, no body, type 0"),
        around("command_to_host", frame(good["set_range_dim"]), "unknown_type", "an echoed command is not for a host"),
    ]


def _damaged_lines(good: dict[str, bytes]) -> list[Stream]:
    def numbered(seq: int) -> bytes:
        return good["steady"][:2] + struct.pack("<H", seq) + good["steady"][4:]

    one = frame(numbered(1))
    noise = random.Random(7)
    garbage = bytes(noise.randrange(1, 256) for _ in range(300))
    half = frame(good["block_full_ring"])[:500]
    assert 0 not in half
    return [
        Stream("half_frame_then_good", why="sensor reset in mid-block: it begins with 0x00, which ends the half")
        .raw(half).raw(b"\0", cobs=1).good(numbered(0)),
        Stream("half_frame_swallows_next", why="no 0x00 between: both are lost as one, the third is whole")
        .good(numbered(0)).raw(one[:9] + one, crc=1, missing=1).good(numbered(2)),
        Stream("opened_in_mid_frame", why="the port was opened in the middle of a frame")
        .raw(one[7:], crc=1).good(numbered(2)),
        Stream("opened_before_a_data_byte", why="the same, beginning with a byte that is no code")
        .raw(one[5:], cobs=1).good(numbered(2)),
        Stream("garbage_then_good", why="300 bytes that are no frame, then a 0x00, then a frame")
        .raw(garbage + b"\0", cobs=1).good(numbered(0)),
        Stream("text_then_good", why="a sensor of another kind prints lines")
        .raw(b"lux: 123.4\r\n" * 3 + b"\0", cobs=1).good(numbered(0)),
        Stream("zero_byte_in_frame", why="a byte of the frame turned into 0x00: two pieces, both damaged")
        .good(numbered(0)).raw(one[:6] + b"\0", length=1, missing=1).raw(one[7:], crc=1).good(numbered(2)),
        Stream("too_long", why="70,000 bytes without a 0x00: dropped, counted once, nothing allocated beyond the bound")
        .good(numbered(0)).raw(b"\x55", 70_000).raw(b"\0", length=1).good(numbered(1)),
        Stream("far_too_long", why="a megabyte without a 0x00 counts once")
        .raw(b"\xff", 1_000_000).raw(b"\0", length=1).good(numbered(0)),
        Stream("too_long_by_one", why="66,049 decoded bytes, one more than is legal")
        .raw(b"\xff" + b"\x55" * 254, 260).raw(b"\x0a" + b"\x55" * 9).raw(b"\0", length=1).good(numbered(0)),
        Stream("no_end_yet", why="40,000 bytes of a frame that may still end well: nothing to count")
        .good(numbered(0)).raw(b"\x01", 40_000),
    ]  # fmt: skip


def _refused_bodies(good: dict[str, bytes]) -> list[Stream]:
    by_name = {name: (kind, seq, f) for name, kind, seq, f in message_cases()}

    def changed(name: str, /, **fields: Any) -> bytes:
        kind, seq, f = by_name[name]
        return message_of(kind, seq, body_of(kind, f | fields))

    def poked(name: str, offset: int, value: int) -> bytes:
        m = bytearray(good[name])
        m[4 + offset] = value
        return bytes(m)

    bad = [(f"short_{n}", good[n][:-1], "one byte short")
           for n in ("identity", "steady", "pop", "block_small", "block_16_bit_three_segments", "status", "colour_xy",
                     "distance", "battery", "reply_done")]  # fmt: skip
    bad += [(f"empty_{n}", good[n][:4], "no body at all") for n in ("identity", "steady", "block_small", "colour_xy")]
    bad += [
        ("block_short_of_segments", good["block_small"][: 4 + 15 + 3], "ends inside its table of segments"),
        ("block_no_segment", changed("block_small", segments=[]), "0 segments"),
        ("block_nine_segments", changed("block_small", segments=[[2, 13000]] * 8 + [[1, 13000]],
                                        samples=[9] * 17), "9 segments"),
        ("block_empty_segment", changed("block_small", segments=[[16, 13000], [0, 26000]]), "a segment of 0 samples"),
        ("block_interval_zero", changed("block_small", segments=[[16, 0]]), "an interval of 0 ns"),
        ("block_sample_bytes_0", poked("block_small", 8, 0), "0 bytes a sample"),
        ("block_sample_bytes_3", poked("block_small", 8, 3), "3 bytes a sample"),
        ("steady_of_nothing", changed("steady", sum=0, count=0), "0 samples in the sum"),
        ("identity_name_beyond_end", poked("identity", 22, 7), "its name is longer than its body"),
        ("identity_name_too_long", changed("identity", name="n" * 33), "a name of 33 bytes"),
        ("identity_no_range", changed("identity", ranges=0), "0 ranges"),
        ("identity_nine_ranges", changed("identity", ranges=9), "9 ranges"),
        ("distance_good_of_nothing", changed("distance_good", distance_mm=0xFFFF), "good, and no distance"),
        ("distance_of_what_is_not_good", changed("distance_good", status=2), "too weak, and yet a distance"),
        ("colour_no_channel", changed("colour_xy", channels=[]), "0 channels"),
        ("colour_seventeen_channels", changed("colour_xy", channels=[1] * 17), "17 channels"),
    ]  # fmt: skip
    out = []
    for name, message, why in bad:
        seq = struct.unpack("<H", message[2:4])[0]
        after = message_of("DISTANCE", seq + 1, struct.pack("<H", 150))
        out.append(Stream(f"body_{name}", why=why).raw(frame(message), body=1).good(after))
    return out


def _sensor_streams(good: dict[str, bytes]) -> list[Stream]:
    every = Stream("every_command", "sensor", "all good commands in one go; a host's numbers may jump")
    commands = [name for name, kind, _, _ in message_cases() if TYPES[kind] >= TO_SENSOR]
    for name in commands:
        every.good(good[name])
    every.counts["missing"] = 65536 - 10 + 9  # 8 -> 0xFFFF -> 9
    noise = random.Random(8)
    garbage = bytes(noise.randrange(1, 256) for _ in range(100))
    flipped = with_crc(good["arm"])
    flipped = flipped[:4] + bytes([flipped[4] ^ 1]) + flipped[5:]
    unknown = struct.pack("<BBH", 1, 0xEE, 6)
    return [
        every,
        Stream("grown_command", "sensor", "bytes behind a known body are ignored")
        .good(good["set_range_dim"] + b"\x07\x00\x09"),
        Stream("damaged_commands", "sensor", "each is refused without an answer; the last is obeyed")
        .raw(garbage + b"\0", cobs=1)
        .raw(cobs_encode(flipped) + b"\0", crc=1)
        .raw(frame(b"\x02" + good["arm"][1:]), unknown_version=1)
        .raw(frame(good["set_range_dim"][:-1]), body=1)
        .raw(b"\x03\x01\x01\0", length=1)
        .raw(frame(good["pop"]), unknown_type=1, missing=5)
        .good(good["get_status"]),
        Stream("unknown_command", "sensor", "verified, so it is answered by a REPLY of code 1")
        .raw(frame(unknown), unknown_type=1).good(good["get_status"][:2] + b"\x07\0"),
        Stream("long_command", "sensor", "a sensor drops what its small buffer cannot hold, and goes on")
        .raw(b"\x33", 70_000).raw(b"\0", length=1).good(good["identify"]),
    ]  # fmt: skip


# ------------------------------------------------------------------------------------- the small reader (a check)


def _check(stream: Stream, entry: Fields) -> None:
    """Read the stream as the specification says and compare with what was written by hand."""
    data = b"".join(piece * times for piece, times in stream.parts)
    frames, counts = read_all(data, stream.to)
    said = (stream.frames, stream.counts)
    if (frames, counts) != said:
        lengths = [len(f) for f in frames], [len(f) for f in stream.frames]
        raise SystemExit(f"{entry['name']}: read {lengths[0]} {counts}, written by hand {lengths[1]} {stream.counts}")


def cobs_decode(data: bytes) -> bytes | None:
    """COBS without the final 0x00; None where a code points beyond the end or a 0x00 stands inside."""
    out = bytearray()
    i = 0
    while i < len(data):
        code = data[i]
        piece = data[i + 1 : i + code]
        if code == 0 or len(piece) != code - 1 or 0 in piece:
            return None
        out += piece
        i += code
        if code != 255 and i < len(data):
            out.append(0)
    return bytes(out)


def read_all(data: bytes, to: str) -> tuple[list[bytes], dict[str, int]]:
    """Frames to be delivered and counts, for a whole stream at once."""
    counts = dict.fromkeys(("cobs", "length", "crc", "body", "unknown_version", "unknown_type", "missing"), 0)
    out: list[bytes] = []
    last: int | None = None
    for piece in data.split(b"\0")[:-1]:
        if not piece:
            continue
        reason, message = _judge(piece, to)
        if reason:
            counts[reason] += 1
        if reason in ("", "body", "unknown_type"):
            sequence = struct.unpack("<H", message[2:4])[0]
            if last is not None:
                counts["missing"] += (sequence - last - 1) % 65536
            last = sequence
        if not reason:
            out.append(message)
    return out, counts


def _judge(piece: bytes, to: str) -> tuple[str, bytes]:
    if len(piece) > LONGEST_ENCODED:
        return "length", b""
    whole = cobs_decode(piece)
    if whole is None:
        return "cobs", b""
    if not SHORTEST_DECODED <= len(whole) <= LONGEST_DECODED:
        return "length", b""
    message = whole[:-4]
    if struct.unpack("<I", whole[-4:])[0] != zlib.crc32(message):
        return "crc", b""
    if message[0] != 1:
        return "unknown_version", b""
    kinds = {number: kind for kind, number in TYPES.items()}
    if message[1] not in kinds or (message[1] >= TO_SENSOR) != (to == "sensor"):
        return "unknown_type", message
    return ("" if _body_fits(kinds[message[1]], message[4:]) else "body"), message


def _body_fits(kind: str, body: bytes) -> bool:
    shortest = {"IDENTITY": 23, "STEADY": 18, "POP": 10, "BLOCK": 15, "STATUS": 22, "COLOUR": 2, "DISTANCE": 2,
                "BATTERY": 3, "REPLY": 4, "IDENTIFY": 0, "SET_RANGE": 1, "ARM": 3, "STEADY_RATE": 1,
                "SET_INTERVAL": 1, "GET_STATUS": 0, "SET_IDENTITY": 9}  # fmt: skip
    if len(body) < shortest[kind]:
        return False
    if kind == "IDENTITY":
        return 1 <= body[21] <= 8 and body[22] <= 32 and len(body) >= 23 + body[22]
    if kind == "SET_IDENTITY":
        return body[8] <= 32 and len(body) >= 9 + body[8]
    if kind == "STEADY":
        return body[10:12] != b"\0\0"
    if kind == "DISTANCE" and len(body) >= 7:
        return (body[4] == 0) == (body[:2] != b"\xff\xff")
    if kind == "COLOUR":
        return 1 <= body[1] <= 16 and len(body) >= 2 + 4 * body[1]
    if kind == "BLOCK":
        return _block_fits(body)
    return True


def _block_fits(body: bytes) -> bool:
    sample_bytes, segments = body[8], body[14]
    if sample_bytes not in (1, 2) or not 1 <= segments <= 8 or len(body) < 15 + 6 * segments:
        return False
    pairs = list(struct.iter_unpack("<HI", body[15 : 15 + 6 * segments]))
    if any(count == 0 or interval == 0 for count, interval in pairs):
        return False
    return len(body) >= 15 + 6 * segments + sample_bytes * sum(count for count, _ in pairs)


# ------------------------------------------------------------------------------------------------- published


def cobs_cases() -> list[Fields]:
    """Published COBS examples, with their source."""
    table = "table in the Wikipedia article on COBS, as copied in public test suites"
    paper = "Cheshire & Baker, IEEE/ACM ToN 7(2), 1999, figure (an IPv4 header), from memory"

    def span(first: int, last: int) -> bytes:
        return bytes(range(first, last + 1))

    cases = [
        ("", "01", table), ("00", "0101", table), ("0000", "010101", table), ("001100", "01021101", table),
        ("11220033", "0311220233", table), ("11223344", "0511223344", table), ("11000000", "0211010101", table),
        (span(1, 254).hex(), "ff" + span(1, 254).hex(), table),
        (span(0, 254).hex(), "01ff" + span(1, 254).hex(), table),
        (span(1, 255).hex(), "ff" + span(1, 254).hex() + "02ff", table),
        (span(2, 255).hex() + "00", "ff" + span(2, 255).hex() + "0101", table),
        (span(3, 255).hex() + "0001", "fe" + span(3, 255).hex() + "0201", table),
        ("4500002c4c79000040064f37", "024501042c4c79010540064f37", paper),
    ]  # fmt: skip
    return [{"decoded": a, "encoded": b, "source": c} for a, b, c in cases]


def everything() -> Fields:
    """The whole content of vectors.json."""
    for case in cobs_cases():
        assert cobs_encode(bytes.fromhex(case["decoded"])).hex() == case["encoded"], case
        assert cobs_decode(bytes.fromhex(case["encoded"])) == bytes.fromhex(case["decoded"]), case
    assert zlib.crc32(b"123456789") == 0xCBF43926
    return {
        "format": "meterlink golden vectors",
        "wire": "1.0",
        "made_by": "make_vectors.py, which says what the parts mean",
        "cobs": cobs_cases(),
        "crc": [{"data": b"123456789".hex(), "crc32": "cbf43926",
                 "source": "check value of CRC-32/ISO-HDLC, catalogue of parametrised CRC algorithms"}],
        "messages": messages(),
        "streams": streams(),
    }  # fmt: skip


def flat(vectors: Fields) -> str:
    """The text twin: one vector a line, words by spaces, for tests that have no JSON parser.

    ``field`` lines follow their ``message`` line; lists are joined by commas, a pair by a colon, text is hex.
    """
    lines = ["# made by make_vectors.py from the same tables as vectors.json; - is an empty string of bytes"]
    lines += [f"cobs {c['decoded'] or '-'} {c['encoded']}" for c in vectors["cobs"]]
    lines += [f"crc {c['data']} {c['crc32']}" for c in vectors["crc"]]
    for m in vectors["messages"]:
        lines.append(f"message {m['name']} {m['to']} {m['type']} {m['sequence']} {m['message']} {m['frame']}")
        lines += [f"field {key} {_flat_value(key, value)}" for key, value in m["fields"].items()]
    for s in vectors["streams"]:
        parts = ",".join(f"{data or '-'}*{times}" for data, times in s["parts"])
        frames = ",".join(f"{f['type']}:{f['sequence']}:{f['length']}:{f['crc32']}" for f in s["frames"]) or "-"
        c = s["counts"]
        numbers = " ".join(str(c[k]) for k in ("cobs", "length", "crc", "body", "unknown_version", "unknown_type"))
        lines.append(f"stream {s['name']} {s['to']} {numbers} {frames} {parts}")
    return "\n".join(lines) + "\n"


def _flat_value(key: str, value: Any) -> str:
    if key == "name":
        return value.encode().hex() or "-"
    if isinstance(value, list):
        return ",".join(":".join(map(str, v)) if isinstance(v, list) else str(v) for v in value)
    return str(value)


def _json(vectors: Fields) -> str:
    """JSON with one vector a line: a change shows as the lines that it touches."""
    parts = []
    for key, value in vectors.items():
        if isinstance(value, list):
            rows = ",\n".join("  " + json.dumps(v, ensure_ascii=True) for v in value)
            parts.append(f" {json.dumps(key)}: [\n{rows}\n ]")
        else:
            parts.append(f" {json.dumps(key)}: {json.dumps(value)}")
    return "{\n" + ",\n".join(parts) + "\n}\n"


def main(arguments: list[str]) -> int:
    """Write both files, or compare with ``--check``."""
    vectors = everything()
    wanted = {HERE / "vectors.json": _json(vectors), HERE / "vectors.txt": flat(vectors)}
    if arguments == ["--check"]:
        stale = [p.name for p, text in wanted.items() if not p.exists() or p.read_text() != text]
        if stale:
            print(f"{', '.join(stale)}: not what make_vectors.py makes; run it and commit", file=sys.stderr)
        return 1 if stale else 0
    for path, text in wanted.items():
        path.write_text(text)
    print(f"{len(vectors['messages'])} messages, {len(vectors['streams'])} streams")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
