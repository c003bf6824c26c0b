"""Damaged, spliced and random frames through every dialect's decoder: nothing raised, nothing hoarded, nothing invented.

A short run by default; ``METERLINK_FUZZ=1000000 python -m pytest tests/fuzz --timeout 1800`` is the long one.
"""

from __future__ import annotations

import math
import random
import tracemalloc

import pytest
from fuzzing import CHANNELS, COUNT, decoders, good_frames, spoilt_frames
from tallies import Tally

from meterlink.records import Battery, Colour, HeldOff, Identity, Sample, Steady
from meterlink.sensor.dialects.base import Decoder
from meterlink.sensor.dialects.dialect_file import make_decoder, parse_dialect
from meterlink.sensor.dialects.guess import Capture, guess
from meterlink.sensor.dialects.quantities import MAX_ILLUMINANCE_LX

MEMORY_CAP_BYTES = 2 * 1024 * 1024
"""Most that a decoder may hold or need at once for frames of up to 4 KB, whatever they are."""
KINDS = decoders()
EACH = max(200, COUNT // len(KINDS))


def fresh(name: str) -> Decoder:
    """A decoder ready for bytes."""
    decoder = make_decoder(name)
    if name == "bluetooth":
        decoder.feed(b"gatt-light", 0.0, "@dialect")
    return decoder


def check(sample: Sample) -> None:
    """What a decoder believed must at least be possible."""
    if isinstance(sample, Steady) and sample.illuminance_lx is not None:
        assert 0 <= sample.illuminance_lx <= MAX_ILLUMINANCE_LX
    elif isinstance(sample, Colour):
        assert all(value is None or math.isfinite(value) for value in sample[1:5])
    elif isinstance(sample, Battery):
        assert sample.fraction is None or 0 <= sample.fraction <= 1
    elif isinstance(sample, HeldOff):
        assert sample.held_off_m is None or 0 <= sample.held_off_m < 100
    elif isinstance(sample, Identity):
        assert sample.name.isprintable()


@pytest.mark.timeout(1800)
@pytest.mark.parametrize(("kind", "name"), KINDS)
def test_nothing_is_raised_and_memory_stays_flat(kind: str, name: str, tally: Tally) -> None:
    """Every frame is believed or counted; the decoder holds no more than the stated cap, at the end and at its peak."""
    rng = random.Random(name)
    decoder = fresh(name)
    frames = spoilt_frames(kind, 1, EACH)
    tracemalloc.start()
    try:
        for number, frame in enumerate(frames):
            cut = rng.randrange(len(frame) + 1)
            channel = rng.choice(CHANNELS) if kind == "gatt" else ""
            for piece in (frame,) if channel else (frame[:cut], frame[cut:]):
                for sample in decoder.feed(piece, 0.0, channel):
                    check(sample)
            if number % 997 == 0:
                decoder.reset()
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    tally.count, tally.worst_mb = EACH, peak / 1e6
    assert peak < MEMORY_CAP_BYTES
    assert decoder.stats.damaged_total > 0


@pytest.mark.parametrize(("kind", "name"), KINDS)
def test_good_frames_are_still_read_after_the_damage(kind: str, name: str) -> None:
    """Damage costs what it hit and no more: after some good frames the decoder is in step again."""
    decoder = fresh(name)
    for frame in spoilt_frames(kind, 2, 300):
        decoder.feed(frame, 0.0, "2AFB" if kind == "gatt" else "")
    before = decoder.stats.frames
    for _ in range(60):
        for frame in good_frames(kind):
            decoder.feed(frame, 0.0, "2AFB" if kind == "gatt" else "")
    assert decoder.stats.frames >= before + 30


def test_no_false_frame_beyond_what_the_check_sum_allows() -> None:
    """Random bytes with the right head: a 16-bit CRC lets one in 65,536 through, ours of 32 bits none at all."""
    pytest.importorskip("pymodbus")
    rng = random.Random(11)
    modbus, native = make_decoder("modbus-float"), make_decoder("meterlink-1")
    tries = EACH * 4
    for _ in range(tries):
        modbus.feed(b"\x01\x04\x04" + rng.randbytes(6), 0.0)
        native.feed(bytes(rng.randrange(1, 256) for _ in range(20)) + b"\0", 0.0)
    # Poisson with mean tries/65536: mean + 6 sqrt(mean) + 3 is passed by chance once in far more than a million runs.
    mean = tries / 65_536
    assert modbus.stats.frames <= mean + 6 * math.sqrt(mean) + 3
    assert native.stats.frames == 0


def test_one_endless_frame_is_capped() -> None:
    """Half a megabyte without an end, in pieces: every decoder stays under its cap."""
    for kind, name in KINDS:
        if kind == "gatt":
            continue
        decoder = fresh(name)
        decoder.feed(good_frames(kind)[0], 0.0)
        for start in (b"1", b'[{"a":"', b"\x01"):
            tracemalloc.start()
            for _ in range(128):
                decoder.feed(start * (4096 // len(start)), 0.0)
            held, _ = tracemalloc.get_traced_memory()
            tracemalloc.stop()
            assert held < MEMORY_CAP_BYTES, name


def test_guessing_never_raises() -> None:
    """Whatever is heard on an unknown port, there is a proposal with printable evidence."""
    dialects = [parse_dialect('format=1\nname="x"\nkind="csv"\n[illuminance]\ncolumn=1\nunit="lx"')]
    rng = random.Random(4)
    for kind, _ in KINDS:
        for _ in range(max(20, EACH // 1000)):
            data = b"".join(spoilt_frames(kind, rng.randrange(10**6), 20))
            proposal = guess([Capture(dialects[0].serial, data, 1.0)], dialects)
            assert str(proposal.evidence).isprintable()
            if proposal.draft:
                parse_dialect(proposal.draft)


def test_damaged_descriptions_are_refused_in_one_line() -> None:
    """A dialect file spoilt anywhere is read or refused by a DialectError, never by anything else."""
    from meterlink.errors import DialectError

    good = (
        'format = 1\nname = "mine"\nkind = "csv"\ntitle = "x"\nheader = true\n[serial]\nbaud = 9600\n'
        '[illuminance]\ncolumn = "lux"\nunit = "lx"\nscale = 0.1\noverload = ["OL", 65535]\n[ask]\ntext = "?"\n'
    )
    rng = random.Random(8)
    refused = []
    for _ in range(max(500, EACH)):
        spoilt = list(good)
        for _ in range(rng.randint(1, 5)):
            place = rng.randrange(len(spoilt))
            spoilt[place] = rng.choice(['"', "=", "[", "]", "\n", "9", "-", "x", "", ".", "{", "true", "\0", "é"])
        try:
            parse_dialect("".join(spoilt))
        except DialectError as error:
            refused.append(str(error))
    assert len(refused) > 100
    assert not any("\n" in text for text in refused)
