"""Make the EEPROM image of one sensor: a new random id and a name, as Intel HEX for the programmer.

Each sensor is given its image once, before first use; the id then never changes, also when the firmware does::

    make eeprom NAME="my dome"
    avrdude ... -U eeprom:w:build/eeprom.hex

A chip whose EEPROM is erased tells the id 0 and no name, and two of them cannot be told apart.
"""

from __future__ import annotations

import argparse
import secrets
import sys
from pathlib import Path

ID_BYTES = 8
NAME_MOST = 32


def image(sensor_id: bytes, name: str) -> bytes:
    """The bytes from address 0 on: id, length of the name, name."""
    text = name.encode()
    if len(text) > NAME_MOST:
        raise SystemExit(f"the name takes {len(text)} bytes: at most {NAME_MOST}, shorten it")
    return sensor_id + bytes([len(text)]) + text


def intel_hex(data: bytes) -> str:
    """Intel HEX records of 16 bytes from address 0, and the end record."""
    lines = []
    for at in range(0, len(data), 16):
        piece = data[at : at + 16]
        record = bytes([len(piece), at >> 8, at & 255, 0]) + piece
        lines.append(f":{record.hex().upper()}{-sum(record) & 255:02X}")
    return "\n".join([*lines, ":00000001FF"]) + "\n"


def main() -> int:
    """Write the file and say what it holds."""
    parser = argparse.ArgumentParser(description="EEPROM image of one sensor")
    parser.add_argument("path", type=Path)
    parser.add_argument("--name", default="")
    chosen = parser.parse_args()
    sensor_id = secrets.token_bytes(ID_BYTES)
    chosen.path.write_text(intel_hex(image(sensor_id, chosen.name)))
    print(f"{chosen.path}: id {sensor_id.hex()}, name {chosen.name!r}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
