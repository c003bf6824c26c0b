"""A blind sample: sets of our own optics, our own pulses and our own bytes through the command line, table against truth.

The 60 sets a world that the figures rest on: ``python -m benchmarks blind``.
"""

from __future__ import annotations

import zlib
from pathlib import Path

import numpy as np
import pytest

from meterlink.shared_files import shared_path
from tests.blind import pulses, summary
from tests.blind.bytes_of_sensor import stuffed
from tests.blind.drive import run_set
from tests.blind.optics import Source, Stand, received
from tests.blind.studio import CAMERA, FACE, WORLDS, draw_set


def test_the_encoder_says_what_the_vectors_of_the_format_say() -> None:
    """Every COBS vector of the wire format, and the CRC's check value."""
    lines = [line.split() for line in shared_path("wire", "vectors.txt").read_text(encoding="ascii").splitlines()]
    pairs = [line[1:] for line in lines if line and line[0] == "cobs"]
    assert len(pairs) > 8
    for plain, encoded in pairs:
        assert stuffed(b"" if plain == "-" else bytes.fromhex(plain))[:-1].hex() == encoded
    assert zlib.crc32(b"123456789") == 0xCBF43926


def test_the_optics_agree_with_closed_forms_and_with_themselves() -> None:
    """A flat receptor on the axis of a disk gets pi L R²/(R² + d²) (textbook); half the pieces change nothing by 0.001 stop."""
    disk = Stand(Source("disk", 0.9, 0.9), 0.8, 0.0, 0.0)
    closed = np.pi * 0.45**2 / (0.45**2 + 0.8**2)
    assert received(disk, FACE, CAMERA, "flat") == pytest.approx(closed, rel=5e-4)
    rng = np.random.default_rng(5)
    for world in WORLDS:
        for lamp in draw_set(rng, world, "dome"):
            ways = [(FACE, lamp.stand.toward), (0.4 * lamp.stand.distance_m * lamp.stand.toward, lamp.stand.toward), (FACE, CAMERA)]
            for place, normal in ways:
                fine, coarse = (received(lamp.stand, place, normal, "dome", pieces) for pieces in (44, 22))
                assert abs(np.log2(fine / coarse)) < 0.004


@pytest.mark.parametrize("receptor", ["dome", "flat"])
def test_table_against_truth(receptor: str, tmp_path: Path) -> None:
    """Four sets of each world, half declared: the stops from the key are right, and their intervals hold 95 % of them or nearly."""
    rng = np.random.default_rng([12, receptor == "flat"])
    sets = [run_set(rng, tmp_path, WORLDS[i % 4], "touching", receptor, declared=i >= 8) for i in range(16)]
    error, half = summary.from_key(sets)
    assert len(error) >= 32
    assert np.median(error) <= 0.06
    assert error.max() <= 0.3
    assert np.mean(error <= half) >= 0.9


def test_a_misplaced_reading_is_named(tmp_path: Path) -> None:
    """Twelve sets with one light near the key metered 10 to 40 cm off: above half a stop nearly all are caught."""
    rng = np.random.default_rng(12)
    sets = [run_set(rng, tmp_path, WORLDS[i % 4], "touching", misplace=True) for i in range(12)]
    costly = [one for one in sets if one.cost_stops > 0.5]
    assert len(costly) >= 4
    assert sum(bool(one.alarm) for one in costly) >= len(costly) - 1
    assert sum(one.alarm == one.wrong for one in costly) >= len(costly) / 2


def test_a_pulse_has_the_exposure_that_it_says() -> None:
    """The converter's codes of a pulse, added up by hand, give its exposure back within 3 %."""
    rng = np.random.default_rng(3)
    for _ in range(20):
        index, codes = pulses.codes(rng, 150.0)
        raw = (np.array(codes) + 0.5) / 2**12
        light = (raw - raw[: pulses.PRETRIGGER].mean()) * (2e6, 2e5)[index]
        assert light.sum() * pulses.INTERVAL_S == pytest.approx(150.0, rel=0.03)
