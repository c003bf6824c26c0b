"""The golden vectors themselves, against libraries that know nothing of us."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

WIRE = Path(__file__).parents[2] / "shared" / "wire"
VECTORS = json.loads((WIRE / "vectors.json").read_text())


def test_files_are_what_the_script_makes() -> None:
    """vectors.json and vectors.txt are exactly what make_vectors.py writes today."""
    done = subprocess.run([sys.executable, WIRE / "make_vectors.py", "--check"], capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize("vector", VECTORS["messages"], ids=lambda v: v["name"])
def test_frames_agree_with_the_cobs_and_crccheck_packages(vector: dict) -> None:
    """Every good frame is COBS + CRC-32/ISO-HDLC as two outside packages compute them."""
    cobs = pytest.importorskip("cobs.cobs")
    crc = pytest.importorskip("crccheck.crc")
    whole = cobs.decode(bytes.fromhex(vector["frame"])[:-1])
    message = bytes.fromhex(vector["message"])
    assert whole[:-4] == message
    assert int.from_bytes(whole[-4:], "little") == crc.Crc32IsoHdlc.calc(message)


def test_every_type_of_the_format_has_a_good_vector() -> None:
    """No message type of the specification is without a vector."""
    types = {v["type"] for v in VECTORS["messages"]}
    assert types == {*range(0x01, 0x09), 0x0F, *range(0x81, 0x88)}
