"""The short way of a steady frame that comes alone and in its turn says the same as the long way of everything else."""

from __future__ import annotations

from cobs import cobs
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from meterlink.records import Sample
from meterlink.sensor.dialects.frames import encode
from meterlink.sensor.dialects.native import NativeDecoder
from meterlink.simulation.chip_model import ChipModel

chip = ChipModel(noise_codes=0.0)
IDENTITY = chip.restart()
STEADY = [chip.steady(i / 10) for i in range(40)]

LEGAL = st.integers(0, 39).map(STEADY.__getitem__)
DAMAGED = st.tuples(LEGAL, st.integers(1, 20), st.integers(1, 255)).map(
    lambda one: one[0][: one[1]] + bytes((one[0][one[1]] ^ one[2],)) + one[0][one[1] + 1 :]
)
# A good CRC around a body that cannot be: no ADC sample in the mean.
CONTRADICTING = LEGAL.map(lambda one: (message := cobs.decode(one[:-1])[:-4]) and encode(message[:14] + b"\0\0" + message[16:]))
CUT = st.tuples(LEGAL, st.integers(1, 25)).map(lambda one: one[0][: one[1]])
ONE = st.one_of(LEGAL, LEGAL, DAMAGED, CONTRADICTING, CUT, st.just(IDENTITY), st.just(b"\0"), st.binary(max_size=30))
READS = st.lists(ONE, max_size=30)


def long_way(decoder: NativeDecoder, data: bytes, at_s: float) -> list[Sample]:
    """Every frame through the way that asks for everything."""
    return decoder._all_of(decoder._frames.feed(data), at_s)


def seen(decoder: NativeDecoder) -> dict[str, object]:
    """All counts of a decoder."""
    return {name: getattr(decoder.stats, name) for name in decoder.stats.__slots__}


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(known=st.booleans(), reads=READS)
def test_both_ways_give_the_same_samples_and_counts(known: bool, reads: list[bytes]) -> None:
    """In turn, after gaps, again, damaged, cut, before and after the sensor has said who it is."""
    short, long = NativeDecoder(), NativeDecoder()
    stream = [IDENTITY, *STEADY[:3], *reads] if known else reads

    for at, data in enumerate(stream):
        assert short.feed(data, float(at)) == long_way(long, data, float(at))
        assert short._expected == long._expected

    assert seen(short) == seen(long)


def test_a_body_that_cannot_be_is_counted_on_the_short_way() -> None:
    """In its turn and with a good CRC, but with no ADC sample in its mean: damage of the body, and no frame."""
    decoder = NativeDecoder()
    decoder.feed(IDENTITY, 0.0)
    decoder.feed(STEADY[0], 0.1)
    frames = decoder.stats.frames
    message = cobs.decode(STEADY[1][:-1])[:-4]

    assert decoder.feed(encode(message[:14] + b"\0\0" + message[16:]), 0.2) == []
    assert decoder.stats.damaged == {"body": 1}
    assert decoder.stats.frames == frames


def test_the_short_way_is_taken() -> None:
    """What this compares is really two ways: steady frames in their turn never reach the long one."""
    decoder = NativeDecoder()
    decoder.feed(IDENTITY, 0.0)
    decoder.feed(STEADY[0], 0.1)
    decoder._all_of = None  # type: ignore[assignment,method-assign]

    (sample,) = decoder.feed(STEADY[1], 0.2)

    assert sample.at_s == 0.2
