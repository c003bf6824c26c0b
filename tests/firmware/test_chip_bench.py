"""The real firmware on the simulated chip, read with a decoder of our own for tests: the bench itself."""

from __future__ import annotations

import os
import struct
from pathlib import Path

import pytest

pytest.importorskip("cobs.cobs")
from chip_reader import READY_MS, Line, of, unpack

from hardware_notes.firmware.bench import simulated_chip as chip_module
from hardware_notes.firmware.bench.simulated_chip import SimulatedChip
from meterlink.errors import LinkLost, LinkNotFound, UsageError


def _scripted_run() -> bytes:
    with SimulatedChip() as one:
        line = Line(one)
        one.amplifier(offset=0.01, noise=0.001, seed=11)
        one.ambient(40_000.0, flicker_depth=0.05)
        line.after(200)
        one.pop(1.1e6, decay_us=600, rise_us=40, at_ms=33.3)  # asked for its state the chip is blind for 8 ms
        line.send("GET_STATUS")
        line.after(150)
        line.send("SET_RANGE", b"\x01")
        one.gaussian(9e4, sigma_us=120, at_ms=30)
        line.after(200)
        one.reset()
        line.after(60)
        line.close()
        return line.raw


def test_paused_chip_gives_the_same_bytes_in_every_run() -> None:
    """The same calls give the same byte stream, noise and all."""
    reason = chip_module.why_not()
    if reason:
        pytest.skip(reason)
    first = _scripted_run()
    assert first.count(b"\0") > 12
    assert len(first) > 2400, "two blocks"
    assert _scripted_run() == first


def test_amplifier_errors_show_in_the_light(chip: SimulatedChip, line: Line) -> None:
    """Gain error, dark offset and non-linearity of the bench reach the steady sums as they were asked for."""
    chip.amplifier(gain_error_0=0.03, offset=0.02, nonlinearity=-0.05)
    chip.ambient(1e6)
    line.after(300)
    window = of(line.after(200), "STEADY")[-1]
    v = 0.5 * 1.03
    assert (window["sum"] / window["count"] + 0.5) / 1024 == pytest.approx(v - 0.05 * v * v + 0.02, abs=0.5 / 1024)
    chip.dark()
    line.after(150)
    window = of(line.after(200), "STEADY")[-1]
    assert (window["sum"] / window["count"] + 0.5) / 1024 == pytest.approx(0.02, abs=0.5 / 1024)


def test_real_time_with_an_ordinary_serial_client() -> None:
    """Unpaused, pyserial opens the pty, is answered, and sees a pop, at the pace of the clock."""
    serial = pytest.importorskip("serial")
    cobs = pytest.importorskip("cobs.cobs")
    reason = chip_module.why_not()
    if reason:
        pytest.skip(reason)
    with (
        SimulatedChip(paused=False) as one,
        serial.Serial(one.pty_path, 250_000, timeout=5) as port,
    ):
        message = struct.pack("<BBH", 1, 0x81, 1)
        import zlib

        port.write(b"\0" + cobs.encode(message + struct.pack("<I", zlib.crc32(message))) + b"\0")
        kinds: list[str] = []
        popped = False
        while "BLOCK" not in kinds and len(kinds) < 60:
            whole = port.read_until(b"\0")
            assert whole, "nothing came within 5 s"
            try:
                frame = cobs.decode(whole[:-1])
            except cobs.DecodeError:
                continue  # the port was opened in mid-frame
            if struct.pack("<I", zlib.crc32(frame[:-4])) != frame[-4:]:
                continue  # or it was not read in time
            kinds.append(unpack(frame[:-4]).kind)
            if kinds[-1] == "STEADY" and not popped:
                one.pop(1e6, decay_us=500, rise_us=40)
                popped = True
        assert "IDENTITY" in kinds
        assert kinds.index("POP") < kinds.index("BLOCK")


def test_client_that_leaves_does_not_hang_the_line_up(chip: SimulatedChip, line: Line) -> None:
    """After a client has closed the pty the next one is served."""
    line.after(READY_MS)
    for _ in range(3):
        fd = os.open(chip.pty_path, os.O_RDWR | os.O_NOCTTY)
        os.close(fd)
    line.send("IDENTIFY")
    assert of(line.after(10), "IDENTITY")


def test_bench_refuses_what_it_cannot_do(chip: SimulatedChip) -> None:
    """A pulse without length, an unknown error of the amplifier and a step of nothing are refused in words."""
    with pytest.raises(UsageError, match="decay_us"):
        chip.pop(1e6, decay_us=0.0)
    with pytest.raises(UsageError, match="colour"):
        chip.amplifier(colour=1.0)
    with pytest.raises(UsageError, match="step"):
        chip.step(-1.0)
    assert chip.step(1.0) == pytest.approx(1.0, abs=0.01)


def test_chip_that_is_switched_off_says_so() -> None:
    """Calls before start and after stop give a clear error instead of hanging."""
    one = SimulatedChip()
    with pytest.raises(LinkLost, match="switched off"):
        one.step(1.0)
    one.stop()


def test_missing_tools_are_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Without avr-gcc the reason names the package, and start raises it as one line."""
    monkeypatch.setattr(chip_module.shutil, "which", lambda tool: None if tool == "avr-gcc" else f"/bin/{tool}")
    reason = chip_module.why_not()
    assert reason
    assert "gcc-avr" in reason
    with pytest.raises(LinkNotFound, match="gcc-avr"):
        SimulatedChip().start()
    monkeypatch.setattr(chip_module, "_FIRMWARE", tmp_path)
    assert "checkout" in (chip_module.why_not() or "")
