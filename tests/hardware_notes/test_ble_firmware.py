"""Build (c): the board layer's logic with the real core, from conversions to notifications that the reader decodes."""

from __future__ import annotations

import ctypes
import math
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from meterlink.records import Identity, Sample, Steady, WaveBlock
from meterlink.sensor.dialects.native import NativeDecoder
from meterlink.sensor.link.ble_uuids import NATIVE_FROM_SENSOR, NATIVE_SERVICE, NATIVE_TO_SENSOR
from meterlink.sensor.measuring import flash
from meterlink.sensor.measuring.calibrate import default_calibration

HERE = Path(__file__).parent
FIRMWARE = HERE.parent.parent / "hardware_notes" / "firmware"
INCLUDES = [f"-I{FIRMWARE / 'core'}", f"-I{FIRMWARE / 'ble' / 'src'}"]
WARNINGS = ["-std=gnu11", "-Wall", "-Wextra", "-Werror", "-Wshadow"]
CORE = [str(p) for p in sorted((FIRMWARE / "core").glob("*.c"))]
LINK = str(FIRMWARE / "ble" / "src" / "ble_link.c")
CONVERSION_S = 13e-6

pytestmark = pytest.mark.skipif(shutil.which("gcc") is None, reason="needs gcc")


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> ctypes.CDLL:
    """Core and layer as a shared library of this machine, warnings as errors."""
    target = tmp_path_factory.mktemp("ble") / "ble.so"
    subprocess.run(
        ["gcc", "-shared", "-fPIC", "-O1", *WARNINGS, "-Wconversion", *INCLUDES, *CORE, LINK, str(HERE / "ble_host.c"), "-o",
         str(target)],
        check=True,
    )  # fmt: skip
    return ctypes.CDLL(str(target))


class Board:
    """The device in the library, driven as the board's main loop drives it."""

    def __init__(self, library: ctypes.CDLL, payload: int = 244) -> None:
        self.library, self.payload = library, payload
        self.decoder = NativeDecoder()
        self.now_ms = 0.0
        self.notifications: list[bytes] = []
        self.busy = 0
        """So many notifications the radio has no room for."""
        library.host_start(bytes(range(8)))

    def run(self, volts: np.ndarray) -> list[Sample]:
        """Let conversions (fractions of full scale) pass, 64 at a time, and return what the reader makes of it."""
        codes = np.floor(volts * 1024).astype(np.int16)
        samples: list[Sample] = []
        for start in range(0, len(codes), 64):
            piece = np.ascontiguousarray(codes[start : start + 64])
            self.library.host_take(piece.ctypes.data_as(ctypes.POINTER(ctypes.c_int16)), ctypes.c_size_t(len(piece)))
            self.now_ms += 64 * CONVERSION_S * 1000
            self.library.host_poll(ctypes.c_uint32(int(self.now_ms)))
            samples += self.speak()
        return samples

    def speak(self) -> list[Sample]:
        """Send what there is, one notification at a time."""
        found: list[Sample] = []
        out = ctypes.create_string_buffer(300)
        while length := self.library.host_fill(ctypes.c_uint16(self.payload), out):
            if self.busy:
                self.busy -= 1
                break
            self.notifications.append(out.raw[:length])
            found += self.decoder.feed(out.raw[:length], self.now_ms / 1000)
            self.library.host_sent()
        return found

    def say(self, data: bytes) -> None:
        """The host writes."""
        self.library.host_receive(data, ctypes.c_size_t(len(data)))


def room(milliseconds: float, level: float = 0.02, seed: int = 0) -> np.ndarray:
    """Conversions of a dark room with a little noise."""
    count = int(milliseconds / 1000 / CONVERSION_S)
    return level + np.random.default_rng(seed).normal(0, 0.0005, count)


def pop(peak: float, tau_s: float, milliseconds: float) -> np.ndarray:
    """Conversions of one flash in that room."""
    t = np.arange(int(milliseconds / 1000 / CONVERSION_S)) * CONVERSION_S
    return room(milliseconds, seed=1)[: len(t)] + peak * np.exp(-t / tau_s)


@pytest.mark.parametrize("payload", [20, 100, 244, 5, 1000])
def test_identity_steady_light_and_a_pop_come_through(library: ctypes.CDLL, payload: int) -> None:
    """Whatever the link's size, identity, room light and a pop's exposure (within 1.5 %) reach the reader undamaged."""
    board = Board(library, payload)
    library.host_listen(1)

    samples = board.run(room(150))
    samples += board.run(pop(0.6, 4e-4, 25))
    samples += board.run(room(60, seed=3))

    identity = next(s for s in samples if isinstance(s, Identity))
    steady = next(s for s in samples if isinstance(s, Steady))
    block = next(s for s in samples if isinstance(s, WaveBlock))
    assert identity.name == "air dome"
    assert identity.sample_interval_s == pytest.approx(CONVERSION_S)
    assert steady.raw == pytest.approx(0.02, abs=0.001)
    calibration = default_calibration(identity)
    found = flash.measure(block, identity.sensor_id, calibration)
    truth = 0.6 * 4e-4 * calibration.ranges[0].full_scale_lx
    assert abs(math.log(found.exposure_lxs or 1e-9) - math.log(truth)) < 0.03
    assert board.decoder.stats.damaged_total == 0
    assert board.decoder.stats.lost == 0
    assert board.notifications[0][:1] == b"\0"
    assert max(map(len, board.notifications)) <= min(max(payload, 20), 244)


def test_a_busy_radio_loses_nothing(library: ctypes.CDLL) -> None:
    """A chunk that the radio had no room for is offered again, unchanged and in order."""
    board = Board(library)
    library.host_listen(1)
    board.busy = 40

    samples = board.run(room(150)) + board.run(pop(0.5, 3e-4, 25)) + board.run(room(80))

    assert any(isinstance(s, WaveBlock) for s in samples)
    assert board.decoder.stats.damaged_total == 0


def test_nobody_listening_hears_nothing_and_keeps_nothing(library: ctypes.CDLL) -> None:
    """What was said while nobody listened is gone; a new listener begins with one 0x00 and whole frames."""
    board = Board(library)
    assert board.run(room(250)) == []

    library.host_listen(1)
    board.say(board.decoder.identify())
    samples = board.run(room(120))

    assert any(isinstance(s, Identity) for s in samples)
    assert board.decoder.stats.damaged_total == 0


def test_commands_reach_the_core(library: ctypes.CDLL) -> None:
    """A range switch written by the host closes the other feedback and is answered."""
    board = Board(library)
    library.host_listen(1)
    board.run(room(20))

    board.say(board.decoder.set_range(1))
    samples = board.run(room(250))

    assert library.host_range() == 1
    assert [s for s in samples if isinstance(s, Steady)][-1].range_index == 1


def test_conversions_out_of_range_are_clamped(library: ctypes.CDLL) -> None:
    """A converter that reads below zero or at its top neither wraps nor damages a frame; full scale is clipped."""
    board = Board(library)
    library.host_listen(1)

    samples = board.run(np.full(12_000, -0.01)) + board.run(np.full(12_000, 1.5))

    steady = [s for s in samples if isinstance(s, Steady)]
    assert steady[0].raw == pytest.approx(0.0005, abs=0.001)
    assert steady[-1].clipped


def test_board_file_passes_a_compiler_against_our_own_declarations() -> None:
    """board_nrf52.c is free of type errors and warnings, as far as declarations of our own can tell."""
    source = FIRMWARE / "ble" / "src" / "board_nrf52.c"
    subprocess.run(["gcc", "-fsyntax-only", *WARNINGS, f"-I{HERE / 'stand_in'}", *INCLUDES, str(source)], check=True)
    text = source.read_text(encoding="utf-8")
    for uuid in (NATIVE_SERVICE, NATIVE_TO_SENSOR, NATIVE_FROM_SENSOR):
        assert ", ".join(f"0x{part}" for part in uuid.split("-")) in text
    assert "NEVER RUN ON A BOARD" in text


@pytest.mark.skipif(shutil.which("arm-none-eabi-gcc") is None, reason="needs arm-none-eabi-gcc (Debian: gcc-arm-none-eabi)")
def test_core_compiles_for_the_boards_processor(tmp_path: Path) -> None:
    """Core and layer compile for a Cortex-M4 without a warning, and without a C library."""
    for source in (*CORE, LINK):
        subprocess.run(
            ["arm-none-eabi-gcc", "-mcpu=cortex-m4", "-mthumb", "-O2", "-ffreestanding", "-c", *WARNINGS, *INCLUDES, source,
             "-o", str(tmp_path / f"{Path(source).stem}.o")],
            check=True,
        )  # fmt: skip
