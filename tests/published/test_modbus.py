"""Modbus RTU: the check sum's published check value, the example of the Modbus specification, and types."""

from __future__ import annotations

import struct

import pytest

pytest.importorskip("pymodbus", reason="Modbus needs the extra: pip install '.[modbus]'")

from crccheck.crc import CrcModbus
from pymodbus.framer.rtu import FramerRTU

from meterlink.sensor.dialects.dialect_file import find_dialect, make_decoder, parse_dialect
from meterlink.sensor.dialects.modbus import registers_to_number


def test_crc_check_value() -> None:
    """CRC-16/MODBUS of '123456789' is 4B37 (RevEng catalogue of CRC parameters, crccheck 1.3.1)."""
    swapped = FramerRTU.compute_CRC(b"123456789")
    assert int.from_bytes(swapped.to_bytes(2, "little"), "big") == 0x4B37 == CrcModbus.calc(b"123456789")


def test_question_is_a_frame_of_the_specification() -> None:
    """Function 04, two registers from 0 of device 1, CRC low byte first (MODBUS over Serial Line V1.02, 2.5.1.2)."""
    question = make_decoder("modbus-float").poll()
    assert question[:-2] == bytes.fromhex("010400000002")
    assert question[-2:] == CrcModbus.calc(question[:-2]).to_bytes(2, "little")


def answer(head: str, registers: bytes) -> bytes:
    """Build an answer with an independent CRC."""
    frame = bytes.fromhex(head) + bytes([len(registers)]) + registers
    return frame + CrcModbus.calc(frame).to_bytes(2, "little")


def test_answer_with_an_independent_crc_is_believed() -> None:
    """IEEE 754 single precision, big-endian (MODBUS application protocol V1.1b3, 4.2 for the order of bytes)."""
    found = make_decoder("modbus-float").feed(answer("0104", struct.pack(">f", 512.25)), 1.0)
    assert found[1].illuminance_lx == 512.25


def test_scaled_integer_with_the_low_word_first() -> None:
    """5123 tenths of a lux, low word first."""
    found = make_decoder("modbus-scaled").feed(answer("0103", bytes.fromhex("14030000")), 1.0)
    assert found[1].illuminance_lx == pytest.approx(512.3)


@pytest.mark.parametrize(
    ("kind", "byte_order", "word_order", "registers", "number"),
    [
        ("uint16", "big", "big", [0x1403], 5123),
        ("uint16", "little", "big", [0x0314], 5123),
        ("int16", "big", "big", [0xFFFF], -1),
        ("uint32", "big", "big", [0x0001, 0x86A0], 100_000),
        ("uint32", "big", "little", [0x86A0, 0x0001], 100_000),
        ("uint32", "little", "big", [0x0100, 0xA086], 100_000),
        ("uint32", "little", "little", [0xA086, 0x0100], 100_000),
        ("float32", "big", "big", [0x4400, 0x1000], 512.25),
        ("float32", "little", "little", [0x0010, 0x0044], 512.25),
    ],
)
def test_orders_of_bytes_and_words(
    kind: str, byte_order: str, word_order: str, registers: list[int], number: float
) -> None:
    """The four orders in which makers send 32 bits; the expected numbers are struct's of the plain bytes."""
    field = find_dialect("modbus-float").fields[0]
    field = field._replace(register_type=kind, byte_order=byte_order, word_order=word_order)
    assert registers_to_number(field, registers) == number


def test_one_wrong_bit_anywhere_is_no_reading() -> None:
    """A CRC of 16 bits catches every single wrong bit."""
    good = answer("0104", struct.pack(">f", 512.25))
    for bit in range(8 * len(good)):
        damaged = bytearray(good)
        damaged[bit // 8] ^= 1 << bit % 8
        assert make_decoder("modbus-float").feed(bytes(damaged), 0.0) == []


def test_refusal_of_the_sensor_is_counted() -> None:
    """Exception 02 (illegal data address) is an answer, but no reading (application protocol, section 7)."""
    decoder = make_decoder("modbus-float")
    frame = bytes.fromhex("018402")
    assert decoder.feed(frame + CrcModbus.calc(frame).to_bytes(2, "little"), 0.0) == []
    assert decoder.stats.damaged == {"refused": 1}


def test_fields_of_one_answer_share_a_question() -> None:
    """Illuminance and colour temperature in registers apart are read at once."""
    dialect = parse_dialect(
        'format=1\nname="m"\nkind="modbus"\n[illuminance]\nregister=10\ntype="uint32"\nunit="lx"\n'
        '[cct]\nregister=14\nunit="K"'
    )
    decoder = make_decoder(dialect)
    assert decoder.poll()[:6] == bytes.fromhex("0103000A0005")
    found = decoder.feed(answer("0103", struct.pack(">IHHH", 700, 0, 0, 5600)), 0.0)
    assert (found[1].illuminance_lx, found[2].cct_k) == (700.0, 5600.0)
