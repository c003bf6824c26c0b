"""Lines of text, columns and JSON: what is read, and what is refused and counted."""

from __future__ import annotations

import pytest

from meterlink.records import Battery, Colour, Identity, Sample, Steady
from meterlink.sensor.dialects.base import Decoder, DecoderStats
from meterlink.sensor.dialects.dialect_file import make_decoder, parse_dialect
from meterlink.sensor.dialects.lines import LineSplitter


def lux(found: list[Sample]) -> list[float | None]:
    """The illuminances among the samples."""
    return [sample.illuminance_lx for sample in found if isinstance(sample, Steady)]


def fed(decoder: Decoder, text: str) -> list[Sample]:
    """Feed lines after a line end, so that the first one counts."""
    return decoder.feed(b"\n" + text.encode(), 5.0)


@pytest.mark.parametrize(
    ("line", "value"),
    [
        ("512.3 lx", 512.3),
        ("512.3lux", 512.3),
        ("0.5 klx", 500.0),
        ("+1.5e2 lx", 150.0),
        ("512", 512.0),
        ("E=512.3 lx", 512.3),
        ("Ev: 512.3 LX", 512.3),
        ("10 fc", 107.639104167),
        ("lux 300 lx", 300.0),
    ],
)
def test_text_line_is_read(line: str, value: float) -> None:
    """A number with or without label and unit becomes lux."""
    assert lux(fed(make_decoder("lux-lines"), line + "\r\n")) == [pytest.approx(value)]


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("512.3 furlong", "unit"),
        ("nan lx", "text"),
        ("inf lx", "text"),
        ("-5 lx", "value"),
        ("1e30 lx", "value"),
        ("512,3 lx", "number"),
        ("512.3 lx 512.3 lx", "text"),
        ("1 lx; 2 lx", "twice"),
        ("hello", "text"),
        ("8 EV", "unit"),
        ("٣ lx", "text"),
    ],
)
def test_text_line_is_refused(line: str, reason: str) -> None:
    """What is no number with a unit of light is counted under its reason and gives nothing."""
    decoder = make_decoder("lux-lines")
    assert fed(decoder, line + "\n") == []
    assert decoder.stats.damaged == {reason: 1}


def test_first_line_after_opening_is_not_believed() -> None:
    """Its head may be missing: 234.5 of 1234.5."""
    decoder = make_decoder("lux-lines")
    assert lux(decoder.feed(b"234.5 lx\n1234.5 lx\n", 0.0)) == [1234.5]
    decoder.reset()
    assert lux(decoder.feed(b"4.5 lx\n1234.5 lx\n", 0.0)) == [1234.5]


def test_any_cut_gives_the_same_samples() -> None:
    """Bytes one by one give what one piece gives."""
    text = b"\n1 lx\r\n2 lx\r3 lx\n\n4 l"
    whole = make_decoder("lux-lines").feed(text, 0.0)
    decoder = make_decoder("lux-lines")
    assert [s for i in range(len(text)) for s in decoder.feed(text[i : i + 1], 0.0)] == whole
    assert lux(whole) == [1.0, 2.0, 3.0]


def test_several_values_in_a_line() -> None:
    """Light, colour and battery in one line are three samples; what is not known but labelled is passed over."""
    found = fed(make_decoder("lux-lines"), "E: 512.3 lx; T: 5600 K; battery: 87 %; n: 14\n")
    assert found[1:] == [
        Steady(5.0, None, illuminance_lx=512.3),
        Colour(5.0, cct_k=5600.0),
        Battery(5.0, 0.87),
    ]


def test_too_much_light_is_said_and_not_measured() -> None:
    """The word of the dialect for an overload makes a clipped sample without a value."""
    assert fed(make_decoder("lux-lines"), "OL\n")[1] == Steady(5.0, None, clipped=True)


def test_identity_comes_first_and_again_after_a_reset() -> None:
    """A sensor of lines sees steady light only, and is introduced anew when its link was lost."""
    decoder = make_decoder("lux-lines", "serial-42")
    first = fed(decoder, "1 lx\n2 lx\n")
    identity = first[0]
    assert isinstance(identity, Identity)
    assert (identity.sensor_id, identity.flash, identity.steady) == ("serial-42", False, True)
    assert len(fed(decoder, "3 lx\n")) == 1
    decoder.reset()
    assert isinstance(fed(decoder, "4 lx\n")[0], Identity)


def test_decimal_comma() -> None:
    """A dialect with a decimal comma reads 47,6."""
    assert lux(fed(make_decoder("fc-comma"), "47,6 fc\n")) == [pytest.approx(512.362136)]


def test_sensor_that_must_be_asked() -> None:
    """The question and its pace come from the dialect."""
    decoder = make_decoder("fc-comma")
    assert (decoder.poll(), decoder.poll_s) == (b"?\r", 0.5)


def test_splitter_keeps_no_more_than_its_limit() -> None:
    """A line without an end is dropped at the limit, to its end, and counted once."""
    stats = DecoderStats()
    splitter = LineSplitter(16, stats)
    assert splitter.feed(b"\n") == []
    for _ in range(1000):
        assert splitter.feed(b"x" * 10) == []
        assert len(splitter._tail) <= 16
    assert splitter.feed(b"\nok\n") == [b"ok"]
    assert stats.damaged == {"length": 1}
    assert stats.dropped_bytes == 10_000


def test_columns_by_name() -> None:
    """Names from the header; words for overload; a zero that means not known; comments."""
    decoder = make_decoder("csv-bench")
    found = fed(decoder, "time_ms,lux,cct_k\n# start\n10,512.3,5600\n20,OL,0\n30,,5500\n")
    assert found[1:] == [
        Steady(5.0, None, illuminance_lx=512.3),
        Colour(5.0, cct_k=5600.0),
        Steady(5.0, None, clipped=True),
        Colour(5.0, cct_k=5500.0),
    ]


def test_columns_need_their_header() -> None:
    """Nothing is guessed before the header came, also not after reconnecting once it was seen."""
    decoder = make_decoder("csv-bench")
    assert fed(decoder, "10,512.3,5600\n") == []
    assert decoder.stats.damaged == {"header": 1}
    assert lux(fed(decoder, "cct_k,lux\n5600,10\n")) == [10.0]
    decoder.reset()
    assert lux(fed(decoder, "5600,20\n")) == [20.0]


@pytest.mark.parametrize("row", ["10,512.3", "10,512.3,5600,1", '10,"512.3,5600', "10,abc,5600", "10,1_0,5600"])
def test_damaged_rows(row: str) -> None:
    """A row that lost or gained a column, or has no number, gives nothing."""
    decoder = make_decoder("csv-bench")
    fed(decoder, "time_ms,lux,cct_k\n")
    assert decoder.feed(row.encode() + b"\n", 0.0) == []
    assert decoder.stats.damaged_total == 1


def test_columns_by_number() -> None:
    """Column 2 in tenths of lux, column 3 in millivolts."""
    found = fed(make_decoder("csv-plain"), "17;5123;3700\n")
    assert found[1:] == [Steady(5.0, None, illuminance_lx=pytest.approx(512.3)), Battery(5.0, None, 3.7)]


def test_json_lines() -> None:
    """Values by their path; lines of other things are no damage."""
    decoder = make_decoder("json-lines")
    found = fed(decoder, '{"light":{"lux":512.3,"x":0.3127,"y":0.329},"battery":0.87}\n{"log":"hello"}\n')
    assert found[1:] == [Steady(5.0, None, illuminance_lx=512.3), Colour(5.0, 0.3127, 0.329), Battery(5.0, 0.87)]
    assert decoder.stats.damaged == {}


@pytest.mark.parametrize(
    "line",
    [
        '{"light":{"lux":NaN}}',
        '{"light":{"lux":Infinity}}',
        '{"light":{"lux":true}}',
        '{"light":{"lux":"512"}}',
        '{"light":{"lux":[1]}}',
        '{"light":{"lux":-1}}',
        '{"light":{"lux":1e400}}',
        '{"light":{"lux":' + "9" * 400 + "}}",
        "[" * 4000,
        '{"a":' * 600 + "1",
        "512.3",
        '{"light":',
    ],
)
def test_hostile_json(line: str) -> None:
    """Numbers that are none, nesting without end, other types: counted, nothing raised, nothing read."""
    decoder = make_decoder("json-lines")
    assert fed(decoder, line + "\n") == []
    assert decoder.stats.damaged_total == 1


def test_list_in_json_path() -> None:
    """A number in a path is an index."""
    dialect = parse_dialect('format=1\nname="j"\nkind="json"\n[illuminance]\npath="ch.1"\nunit="lx"')
    assert lux(fed(make_decoder(dialect), '{"ch":[1,2]}\n{"ch":[1]}\n{"ch":{"1":3}}\n')) == [2.0, 3.0]


@pytest.mark.parametrize(
    ("dialect", "said"),
    [("lux-lines", b"\n5 lx\n"), ("senml", b'[{"n":"a","u":"lx","v":5}]'), ("json-lines", b'\n{"light": {"lux": 5}}\n')],
)
def test_what_comes_beside_the_stream_is_none_of_it(dialect: str, said: bytes) -> None:
    """A battery's value on a channel of its own never passes for light, and leaves the stream as it was."""
    decoder, beside = make_decoder(dialect), make_decoder(dialect)

    assert lux(decoder.feed(said, 0.0)) == [5.0]
    assert beside.feed(said, 0.0, "2A19") == []
    assert beside.stats.frames == beside.stats.damaged_total == 0
