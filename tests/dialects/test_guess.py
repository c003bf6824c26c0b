"""Proposing a dialect from what was heard, with the evidence."""

from __future__ import annotations

import random
from struct import pack

import pytest

from meterlink.records import Identity
from meterlink.sensor.dialects.dialect import SerialSettings
from meterlink.sensor.dialects.dialect_file import parse_dialect, shipped_dialects
from meterlink.sensor.dialects.guess import Capture, Proposal, convincing, guess
from meterlink.sensor.dialects.sensor_side import SensorEncoder

AT_9600 = SerialSettings(9600)


def heard(data: bytes, seconds: float = 1.0, serial: SerialSettings = AT_9600, asked: str = "") -> Proposal:
    """Guess from one capture."""
    return guess([Capture(serial, data, seconds, asked)], shipped_dialects(), "/dev/ttyUSB0")


def lines(*texts: str, count: int = 10) -> bytes:
    """Ten of each line, the first one cut."""
    return ("3 lx\r\n" + "".join(f"{text}\r\n" for _ in range(count) for text in texts)).encode()


@pytest.mark.parametrize(
    ("data", "dialect"),
    [
        (lines("512.3 lx"), "lux-lines"),
        (lines("47.6 fc"), "lux-lines"),
        (lines("0.51 klx"), "lux-lines"),
        (lines("E: 512.3 lx; T: 5600 K"), "lux-lines"),
        (lines("8.3 EV"), "ev-lines"),
        (lines("512"), "lux-lines"),
        (lines('{"light":{"lux":5.5}}'), "json-lines"),
        (lines("time_ms,lux,cct_k", "10,512,5600"), "csv-bench"),
        (lines("17;5123;3700"), "csv-plain"),
        (b'[{"bn":"a:","u":"lx","v":1},{"v":2},{"v":3}]' * 3, "senml"),
    ],
)
def test_dialects_are_told_apart(data: bytes, dialect: str) -> None:
    """Each kind of line is proposed as what it is, and all of them see steady light only."""
    proposal = heard(data)
    assert proposal.dialect == dialect
    assert not proposal.flash
    assert "cannot meter a pop" in str(proposal.can)
    assert convincing(proposal)


def test_evidence_is_what_a_person_would_want_to_know() -> None:
    """Speed, an example, the rate; and the URL to go on with."""
    proposal = heard(lines("512.3 lx"))
    assert str(proposal.evidence) == "9600 baud, lines such as `512.3 lx`, 10 a second"
    assert proposal.url == "serial:/dev/ttyUSB0?baud=9600&dialect=lux-lines"
    assert proposal.rate_hz == pytest.approx(10.0)


def test_bare_numbers_are_said_to_be_assumed() -> None:
    """Numbers without a unit could be anything: the assumption is stated, and what else it could be."""
    proposal = heard(lines("512"))
    assert "no unit is stated, lx is assumed" in str(proposal.evidence)


def test_our_own_sensor_is_known_by_its_frames() -> None:
    """Frames with good check sums outweigh everything, and can see a flash."""
    who = Identity("0011223344556677", "Dome", "meterlink-1", "1.0.0", True, adc_bits=10, sample_interval_s=1e-5)
    proposal = heard(b"\0" + SensorEncoder().identity(who), serial=SerialSettings(250_000))
    assert (proposal.dialect, proposal.flash) == ("meterlink-1", True)
    assert str(proposal.evidence) == (
        "250000 baud, frames of our own wire format with good check sums from Dome (0011223344556677)"
    )
    assert proposal.url == "serial:/dev/ttyUSB0?baud=250000"


def test_modbus_only_when_asked() -> None:
    """Answers count only for the question that was asked."""
    pytest.importorskip("pymodbus")
    from crccheck.crc import CrcModbus

    frame = b"\x01\x04\x04" + pack(">f", 512.5)
    answers = (frame + CrcModbus.calc(frame).to_bytes(2, "little")) * 3
    even = SerialSettings(9600, parity="even")
    proposal = heard(answers, serial=even, asked="modbus-float")
    assert proposal.dialect == "modbus-float"
    assert str(proposal.evidence) == (
        "9600 baud, even parity, answers with good check sums to questions in modbus-float, such as 512.5 lx"
    )
    assert not heard(answers, serial=even).dialect
    assert not heard(answers, serial=even, asked="modbus-scaled").dialect


def test_right_speed_wins_over_garbage() -> None:
    """Noise at the wrong speeds does not hide the lines at the right one."""
    noise = random.Random(3)
    captures = [
        Capture(SerialSettings(250_000), noise.randbytes(400), 1.0),
        Capture(SerialSettings(115_200), noise.randbytes(900), 1.0),
        Capture(AT_9600, lines("512.3 lx"), 1.0),
    ]
    assert str(guess(captures, shipped_dialects()).evidence).startswith("9600 baud")


def test_silence_and_noise_are_said_so() -> None:
    """Nothing heard, and nothing understood, are different things to do."""
    assert "nothing was heard" in str(heard(b"").evidence)
    proposal = heard(random.Random(5).randbytes(4000))
    assert proposal.dialect == ""
    assert "no lines of text at any speed" in str(proposal.evidence)


@pytest.mark.parametrize(
    ("data", "has"),
    [
        (lines('{"sensor":{"ambient_lux":12.5,"t":1}}'), 'path = "sensor.ambient_lux"'),
        (lines("t;Lux_in;temp", "1;512;20", "2;530;20"), 'column = "Lux_in"'),
        (b"\n" + b"".join(f"{n},{200 + n * n % 7},20\n".encode() for n in range(9)), "column = 2"),
    ],
)
def test_unknown_lines_come_with_a_draft(data: bytes, has: str) -> None:
    """A draft to begin with, which is itself a valid description and reads the lines."""
    proposal = heard(data)
    assert proposal.dialect == ""
    assert "that no known dialect fits" in str(proposal.evidence)
    assert has in proposal.draft
    again = guess([Capture(AT_9600, data, 1.0)], [parse_dialect(proposal.draft)])
    assert again.dialect == "my-sensor"


def test_hostile_bytes_are_shown_harmlessly() -> None:
    """An example line is printable and short whatever was heard."""
    proposal = heard(lines("`\x1b[31m" + "9" * 200, "x" * 200 + " `y`"))
    assert str(proposal.evidence).isprintable()
    assert len(str(proposal.evidence)) < 250
