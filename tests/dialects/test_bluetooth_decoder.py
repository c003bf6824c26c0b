"""The decoder behind every Bluetooth link learns from the channels what is spoken."""

from __future__ import annotations

from meterlink.records import Battery, Identity, Steady
from meterlink.sensor.dialects.dialect_file import make_decoder
from meterlink.sensor.dialects.sensor_side import SensorEncoder

WHO = Identity(
    "0011223344556677", "Dome", "meterlink-1", "1.0.0", flash=True, ranges=("low", "high"), adc_bits=10,
    ring_samples=1024, sample_interval_s=13e-6,
)  # fmt: skip


def test_stream_of_our_own() -> None:
    """Frames after the word that it is our dialect; commands are those of that dialect."""
    decoder = make_decoder("bluetooth")
    assert decoder.identify() == b""
    for channel, data in (("@dialect", b"meterlink-1"), ("@name", b"Dome"), ("@address", b"C0:FF:EE:00:00:01")):
        assert decoder.feed(data, 0.0, channel) == []
    assert decoder.dialect == "meterlink-1"
    assert decoder.identify()
    found = decoder.feed(b"\0" + SensorEncoder().identity(WHO), 1.0)
    assert [sample.sensor_id for sample in found if isinstance(sample, Identity)] == [WHO.sensor_id]
    assert decoder.feed(b"\x32", 2.0, "2A19") == [Battery(2.0, 0.5)]


def test_stream_without_a_word_is_our_own() -> None:
    """A recording of a serial sensor has no channels."""
    found = make_decoder("bluetooth").feed(b"\0" + SensorEncoder().identity(WHO), 1.0)
    assert isinstance(found[0], Identity)


def test_counts_survive_a_reconnection() -> None:
    """The same words again after a loss change nothing, and what was counted stays."""
    decoder = make_decoder("bluetooth")
    words = (("@dialect", b"lux-lines"), ("@address", b"A"))
    for channel, data in words:
        decoder.feed(data, 0.0, channel)
    decoder.feed(b"\n1 lx\nrubbish\n", 0.0)
    decoder.reset()
    for channel, data in words:
        decoder.feed(data, 0.0, channel)
    found = decoder.feed(b"\n2 lx\n", 0.0)
    assert isinstance(found[0], Identity)
    assert found[1] == Steady(0.0, None, illuminance_lx=2.0)
    assert (decoder.stats.frames, decoder.stats.damaged) == (2, {"text": 1})


def test_sensor_of_lines_has_its_advertised_name() -> None:
    """Lines do not say who speaks: the name and the battery on the air do."""
    decoder = make_decoder("bluetooth")
    for channel, data in (("@dialect", b"fc-comma"), ("@name", b"Text dome"), ("@has", b"2A19"), ("@address", b"A")):
        decoder.feed(data, 0.0, channel)
    assert (decoder.poll(), decoder.poll_s) == (b"?\r", 0.5)
    (who, _) = decoder.feed(b"\r47,6 fc\r", 0.0)
    assert isinstance(who, Identity)
    assert (who.name, who.sensor_id, who.battery) == ("Text dome", "A", True)


def test_unknown_dialect_is_counted_and_not_raised() -> None:
    """A word that names no dialect gives nothing."""
    decoder = make_decoder("bluetooth")
    decoder.feed(b"klingon", 0.0, "@dialect")
    assert decoder.feed(b"abc\n", 0.0) == []
    assert decoder.stats.damaged["dialect"] == 2


def test_device_text_is_cleaned() -> None:
    """Names from the air are capped and printable."""
    decoder = make_decoder("bluetooth")
    for channel, data in (
        ("@dialect", b"gatt-light"), ("@name", b"\x1b[31mEvil\0pad" + b"x" * 500), ("@has", b"2AFB"),
    ):  # fmt: skip
        decoder.feed(data, 0.0, channel)
    (who,) = decoder.feed(b"A", 0.0, "@address")
    assert isinstance(who, Identity)
    assert who.name == "[31mEvil"
    assert who.steady
    assert not who.flash
