"""What the native decoder remembers from one message to the next, and how it stands hostile bytes."""

from __future__ import annotations

import random
import tracemalloc

import pytest
from cobs import cobs
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlink.records import Identity, PopNotice, Steady, WaveBlock
from meterlink.sensor.dialects import messages as m
from meterlink.sensor.dialects.frames import MAX_ENCODED, encode
from meterlink.sensor.dialects.native import NativeDecoder
from meterlink.sensor.dialects.sensor_side import SensorEncoder, parse_command
from meterlink.simulation.chip_model import ChipModel
from meterlink.simulation.studio import Pulse

IDENTITY = Identity("00112233aabbccdd", "dome", m.DIALECT, "0.1.0", flash=True, adc_bits=10, sample_interval_s=13e-6)


def test_steady_before_the_identity_is_not_believed() -> None:
    """A code without its number of bits is no light: it is dropped, and the next after the identity counts."""
    decoder, sensor = NativeDecoder(), SensorEncoder()
    assert decoder.feed(sensor.steady(0.1, 0, 500, 1, 500, 500), 1.0) == []
    decoder.feed(sensor.identity(IDENTITY), 1.0)
    (sample,) = decoder.feed(sensor.steady(0.2, 0, 500, 1, 500, 500), 2.0)
    assert isinstance(sample, Steady)
    assert sample.raw == 500.5 / 1024


def test_lost_pops_are_told_once_each() -> None:
    """The sensor counts lost pops from its start; a notice says how many are new since the last one."""
    decoder, sensor = NativeDecoder(), SensorEncoder()
    totals = (5, 5, 7, 0, 1)
    samples = [decoder.feed(sensor.pop(1.0, i, 0, lost=t), 0.0)[0] for i, t in enumerate(totals)]
    assert [s.lost for s in samples if isinstance(s, PopNotice)] == [0, 0, 2, 0, 1]


def test_a_reset_sensor_is_not_a_loss() -> None:
    """A sensor that starts anew at sequence 0 has lost nothing that anybody knows of."""
    decoder, sensor = NativeDecoder(), SensorEncoder()
    for _ in range(5000):
        sensor.battery(None)
    decoder.feed(sensor.battery(0.5), 0.0)
    decoder.feed(SensorEncoder().identity(IDENTITY), 0.0)
    assert decoder.stats.lost == 0


def test_what_a_link_delivers_again_is_left_out() -> None:
    """Frames of a pop that come a second time, even seconds later and after an old identity, are not news or a loss."""
    decoder, chip = NativeDecoder(), ChipModel()
    stream = chip.restart()
    for _ in range(3):
        shown = chip.pop(Pulse(300.0), 1.0)
        assert shown is not None
        stream += shown.notice + shown.block + chip.steady(1.0)
    first = decoder.feed(stream, 1.0)
    again = decoder.feed(stream, 5.0)
    assert sum(isinstance(s, WaveBlock) for s in first) == 3
    assert not any(isinstance(s, (WaveBlock, PopNotice)) for s in again)
    assert (decoder.stats.repeated, decoder.stats.lost) == (6, 0)


def test_a_frame_that_goes_back_does_not_spoil_the_count() -> None:
    """One old frame among new ones is not taken for hundreds of lost ones."""
    decoder, sensor = NativeDecoder(), SensorEncoder()
    frames = [sensor.battery(i / 100) for i in range(40)]
    decoder.feed(b"".join(frames[:30]) + frames[3] + b"".join(frames[32:]), 0.0)
    assert decoder.stats.lost == 2


@pytest.mark.parametrize("together", [False, True])
def test_another_version_of_the_format_is_left_alone(together: bool) -> None:
    """Its messages may mean something else: none is believed, all are counted, and ours go on, alone or in one read."""
    decoder, chip = NativeDecoder(), ChipModel()
    decoder.feed(chip.restart() + chip.steady(0.0), 0.0)
    ours = [chip.steady(0.1), chip.pop(Pulse(300.0), 0.2).notice]  # type: ignore[union-attr]
    theirs = [encode(b"\2" + cobs.decode(frame[:-1])[1:-4]) for frame in ours]
    stream = [*theirs, *ours]

    samples = [s for data in ([b"".join(stream)] if together else stream) for s in decoder.feed(data, 1.0)]

    assert [type(s) for s in samples] == [Steady, PopNotice]
    assert (decoder.stats.unknown_version, decoder.stats.frames) == (2, 4)
    assert (decoder.stats.damaged_total, decoder.stats.lost) == (0, 0)


@pytest.mark.parametrize("together", [False, True])
def test_counters_begin_again_after_their_last_number(together: bool) -> None:
    """Frames and lost pops are counted in 16 bits: after 65,535 comes 0, and what is missing across it is the true number."""
    decoder, sensor = NativeDecoder(), SensorEncoder()
    sensor._sequence = 0xFFFC
    frames = [sensor.pop(0.1 * i, i, 0, lost=lost) for i, lost in enumerate((0xFFFE, 0xFFFF, 2, 2, 3, 3))]
    del frames[3]

    samples = [s for data in ([b"".join(frames)] if together else frames) for s in decoder.feed(data, 1.0)]

    assert [s.lost for s in samples if isinstance(s, PopNotice)] == [0, 1, 3, 1, 0]
    assert decoder.stats.lost == 1


def test_commands_go_on_after_the_last_number() -> None:
    """A sensor that is asked all day is asked on: the sequence of commands begins again at 0."""
    decoder = NativeDecoder()
    decoder._sequence = 0xFFFF

    assert [parse_command(cobs.decode(decoder.command(m.GET_STATUS)[:-1])).sequence for _ in range(2)] == [0xFFFF, 0]


def test_reset_forgets_half_a_frame() -> None:
    """After a lost link the half that came before must not spoil the first frame of the new one."""
    decoder = NativeDecoder()
    frame = SensorEncoder().battery(0.5, 3.9)
    decoder.feed(frame[:7], 0.0)
    decoder.reset()
    assert len(decoder.feed(frame, 0.0)) == 1
    assert not decoder.stats.damaged


def test_commands_outside_their_range_are_refused() -> None:
    """A command that the sensor could not obey is not sent at all."""
    decoder = NativeDecoder()
    refused = 0
    for call in (
        lambda: decoder.command(m.SET_RANGE, 8), lambda: decoder.command(m.STEADY_RATE, 51),
        lambda: decoder.command(m.SET_INTERVAL, 3), lambda: encode(bytes(3)), lambda: encode(bytes(66_045)),
    ):  # fmt: skip
        try:
            call()
        except ValueError:
            refused += 1
    assert refused == 5


def test_endless_bytes_without_an_end_take_no_memory() -> None:
    """Ten megabytes without a 0x00 hold no more than one longest frame, and count as one damaged frame."""
    decoder, junk = NativeDecoder(), b"\x55" * 4096
    tracemalloc.start()
    for _ in range(2560):
        decoder.feed(junk, 0.0)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert decoder.stats.damaged == {"length": 1}
    assert peak < 4 * MAX_ENCODED


@settings(max_examples=300)
@given(st.lists(st.binary(max_size=80), max_size=30), st.randoms(use_true_random=False))
def test_any_bytes_are_only_counted(pieces: list[bytes], order: random.Random) -> None:
    """Whatever comes, with true frames cut into it, nothing is raised and the cut makes no difference."""
    sensor = SensorEncoder()
    good = [sensor.identity(IDENTITY), sensor.steady(1.0, 0, 900, 2, 400, 500), sensor.pop(1.0, 3, 1)]
    parts = [b"\0" + p + b"\0" for p in pieces] + good
    order.shuffle(parts)
    stream = b"".join(parts)
    whole, cut = NativeDecoder(), NativeDecoder()
    at_once = whole.feed(stream, 1.0)
    bit_by_bit = []
    while stream:
        n = order.randint(1, 40)
        bit_by_bit += cut.feed(stream[:n], 1.0)
        stream = stream[n:]
    assert at_once == bit_by_bit
    assert whole.stats.damaged == cut.stats.damaged
    assert sum(isinstance(s, PopNotice) for s in at_once) >= 1


def test_flipped_bits_never_make_a_false_frame() -> None:
    """Twenty thousand frames with one to four flipped bits: CRC-32 lets none through as another message (seeded)."""
    rng = random.Random(20)
    sensor = SensorEncoder()
    decoder = NativeDecoder()
    decoder.feed(sensor.identity(IDENTITY), 0.0)
    for i in range(20_000):
        frame = bytearray(sensor.steady(1.0, 0, 900 + i % 100, 2, 400, 500))
        for _ in range(rng.randint(1, 4)):
            frame[rng.randrange(len(frame) - 1)] ^= 1 << rng.randrange(8)
        original = sensor._sequence
        samples = decoder.feed(bytes(frame) + b"\0", 0.0)
        # Two flips of the same bit give back the original, which is no false frame.
        assert all(s.raw == ((900 + i % 100) / 2 + 0.5) / 1024 for s in samples if isinstance(s, Steady)), original


def test_a_body_that_cannot_be_is_counted_as_damage() -> None:
    """In its turn and with a good CRC, but with no ADC sample in its mean: damage of the body, and no frame."""
    chip = ChipModel(noise_codes=0.0)
    decoder = NativeDecoder()
    decoder.feed(chip.restart() + chip.steady(0.0), 0.0)
    frames = decoder.stats.frames
    message = cobs.decode(chip.steady(0.1)[:-1])[:-4]

    assert decoder.feed(encode(message[:14] + b"\0\0" + message[16:]), 0.2) == []
    assert decoder.stats.damaged == {"body": 1}
    assert decoder.stats.frames == frames
