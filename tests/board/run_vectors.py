"""Runs under MicroPython: ``micropython run_vectors.py vectors.json``; prints what was run, or the first difference."""

import json
import sys
from binascii import hexlify, unhexlify
from struct import pack

import frames as f
import messages as m

NAMES = ("", "", "cobs", "length", "crc", "unknown_version")
RING = 66048


def hexed(data):
    """Hexadecimal digits."""
    return hexlify(data).decode()


def body(kind, sequence, v, out):
    """Write the message from its fields as the board does; None for what this board has no way to say."""
    if kind == "IDENTITY" and v["minor"] == 0:
        return m.put_identity(
            out, sequence, v["firmware"], unhexlify(v["unique_id"]), v["capabilities"], v["adc_bits"], v["ring"],
            v["interval_ns"], v["ranges"], v["name"].encode(),
        )  # fmt: skip
    if kind == "STEADY":
        return m.put_steady(
            out, sequence, v["time_ms"], v["range"], v["flags"], v["sum"], v["count"], v["min"], v["max"], v["distance_mm"]
        )
    if kind == "POP":
        return m.put_pop(out, sequence, v["time_ms"], v["pop"], v["range"], v["flags"], v["lost"])
    if kind == "BLOCK" and v["sample_bytes"] == 2 and v["scale_bits"] == 16 and len(v["segments"]) == 2:
        (fine, fine_ns), (coarse, coarse_ns) = v["segments"]
        at = m.put_block(
            out, sequence, v["time_ms"], v["pop"], v["range"], v["flags"], v["pretrigger"], v["distance_mm"], fine, fine_ns,
            coarse, coarse_ns,
        )  # fmt: skip
        for sample in v["samples"]:
            out[at : at + 2] = pack("<H", sample)
            at += 2
        return at
    if kind == "STATUS" and "overruns" in v:
        return m.put_status(
            out, sequence, v["uptime_ms"], v["range"], v["flags"], v["baseline"], v["threshold"], v["pretrigger"],
            v["interval_ns"], v["pops_seen"], v["pops_lost"], v["frames_refused"],
            v["temperature"], v["supply_mv"], v["overruns"],
        )  # fmt: skip
    if kind == "DISTANCE" and "status" in v:
        return m.put_distance(out, sequence, v["distance_mm"], v["uncertainty_mm"], v["status"], v["signal"])
    if kind == "BATTERY":
        return m.put_battery(out, sequence, v["percent"], v["millivolts"])
    if kind == "REPLY":
        return m.put_reply(out, sequence, v["command"], v["its_sequence"], v["code"])
    return None


def run_messages(vectors):
    """Every frame by encode, every message of ours from its fields; returns how many of the latter."""
    built = 0
    for v in vectors:
        message = unhexlify(v["message"])
        frame = bytearray(f.frame_longest(len(message)))
        cut = len(message) // 3
        length = f.encode(message[:cut], cut, message[cut:], len(message) - cut, frame)
        same(v["name"], v["frame"], hexed(frame[:length]))
        out = bytearray(len(message) + 64)
        length = body(v["kind"], v["sequence"], v["fields"], out)
        if length is not None:
            same(v["name"], v["message"], hexed(out[:length]))
            built += 1
    return built


def run_stream(v, limit):
    """One stream of bytes: what is delivered, and the counts of what is dropped."""
    receiver = f.Receiver(limit)
    counts = {name: 0 for name in NAMES}
    got = []
    crc = bytearray(4)
    for piece, times in v["parts"]:
        data = unhexlify(piece)
        for _ in range(times):
            for byte in data:
                result = receiver.take(byte)
                counts[NAMES[result]] += 1
                if result == f.MESSAGE:
                    f.put_crc(receiver.buffer, receiver.length, crc, 0)
                    got.append((receiver.buffer[1], receiver.length, hexed(bytes(reversed(crc)))))
    wanted = [(w["type"], w["length"], w["crc32"]) for w in v["frames"]]
    delivered = [g for g in got if g in wanted]
    same(v["name"], wanted, delivered)
    for name in ("cobs", "length", "crc", "unknown_version"):
        same(v["name"] + " " + name, v["counts"][name], counts[name])
    same(v["name"] + " others", v["counts"]["body"] + v["counts"]["unknown_type"], len(got) - len(delivered))


def same(what, wanted, got):
    """Stop at the first difference."""
    if wanted != got:
        print(what, "wanted", str(wanted)[:300], "got", str(got)[:300])
        sys.exit(1)


def main():
    """All vectors."""
    with open(sys.argv[1]) as file:
        vectors = json.load(file)
    for v in vectors["crc"]:
        crc = bytearray(4)
        data = unhexlify(v["data"])
        f.put_crc(data, len(data), crc, 0)
        same("crc", v["crc32"], hexed(bytes(reversed(crc))))
    built = run_messages(vectors["messages"])
    for v in vectors["streams"]:
        run_stream(v, RING)
    print(len(vectors["messages"]), built, len(vectors["streams"]))


main()
