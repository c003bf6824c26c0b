"""Build (a) and the sketches for common light chips: what they print is what the reader understands."""

from __future__ import annotations

import importlib.util
import math
import shutil
import subprocess
import sys
from pathlib import Path
from types import ModuleType, SimpleNamespace

import pytest

from hardware_notes.design.make_notes import NOTES
from meterlink.records import PopFigures, Steady
from meterlink.sensor.dialects.dialect_file import find_dialect, make_decoder
from meterlink.sensor.dialects.text_lines import TextLineDecoder

HERE = Path(__file__).parent
SKETCHES = NOTES / "sketches"

CHIPS = {
    "veml": (0x10, {0x04: (278).to_bytes(2, "little")}, 512.4, {0x04: b"\xff\xff"}),
    "bh1750": (0x23, {0x10: (276).to_bytes(2, "big")}, 511.9, {0x10: b"\xff\xff"}),
    "opt3001": (
        0x44,
        {0x01: b"\xc6\x90", 0x00: (0x3 << 12 | 0x0FA0 - 3).to_bytes(2, "big")},
        319.8,
        {0x01: b"\xc7\x90", 0x00: b"\xbf\xff"},
    ),
}
"""Address, registers as the data sheets have them (from memory) and the lux that they mean: 278 counts of 1.8432 lx, 276/1.2
· 69/31, and
0.01 · 2³ · 3997; then the registers of too much light."""


class Gone(Exception):
    """The end of a sketch that would run for ever."""


class Bus:
    """A two-wire bus with one chip on it."""

    def __init__(self, address: int | None, registers: dict[int, bytes]) -> None:
        self.address, self.registers, self.written = address, dict(registers), []

    def scan(self) -> list[int]:
        """Return who answers."""
        return [] if self.address is None else [self.address]

    def writeto(self, address: int, data: bytes) -> None:
        """Take a command."""
        self._there(address)
        self.written.append((None, bytes(data)))

    def readfrom(self, address: int, length: int) -> bytes:
        """Give what the last command asked for."""
        self._there(address)
        return self.registers[self.written[-1][1][0]][:length]

    def writeto_mem(self, address: int, register: int, data: bytes) -> None:
        """Take a register."""
        self._there(address)
        self.written.append((register, bytes(data)))

    def readfrom_mem(self, address: int, register: int, length: int) -> bytes:
        """Give a register."""
        self._there(address)
        return self.registers[register][:length]

    def _there(self, address: int) -> None:
        if address != self.address:
            raise OSError(19)


SETTINGS = {
    "veml": [(0x00, b"\x00\x13")],
    "bh1750": [(None, b"\x01"), (None, b"\x40"), (None, b"\x7f"), (None, b"\x10")],
    "opt3001": [(0x01, b"\xc6\x10")],
}
"""Gain 1/8 and 25 ms; on, measuring time 31, without end; range by itself, 100 ms, without end."""


def understood(printed: str) -> list[Steady]:
    """What the shipped dialect of lines makes of it."""
    samples = TextLineDecoder(find_dialect("lux-lines")).feed(b"\n" + printed.encode(), 0.0)
    return [s for s in samples if isinstance(s, Steady)]


def build_a() -> ModuleType:
    """Load the MicroPython program of build (a) under Python."""
    spec = importlib.util.spec_from_file_location("build_a_main", NOTES / "build_a" / "main.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("chip", CHIPS)
def test_build_a_finds_each_chip_and_prints_its_lux(chip: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Found by its address, set to its widest range, its registers come back as that illuminance from the shipped dialect; too
    much is OL."""
    address, registers, lux, full = CHIPS[chip]
    bus = Bus(address, registers)
    build_a().main(bus, pause=lambda _: None, times=1)
    assert understood(capsys.readouterr().out)[0].illuminance_lx == pytest.approx(lux, abs=0.06)
    assert bus.written == SETTINGS[chip]
    build_a().main(Bus(address, full), pause=lambda _: None, times=1)
    assert capsys.readouterr().out == "OL\n"


def test_build_a_goes_on_when_the_chip_is_pulled_off_and_put_back(capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing on the bus is a comment that says what to check; a chip that comes back is set up anew."""
    program = build_a()
    program.main(Bus(None, {}), pause=lambda _: None, times=2)
    assert capsys.readouterr().out.count("# no light chip answers: check the four wires") == 2

    bus = Bus(*CHIPS["veml"][:2])
    states = iter([0x10, None, None, 0x10, 0x10])

    def pause(_seconds: float) -> None:
        bus.address = next(states, 0x10)

    program.main(bus, pause=pause, times=6)
    printed = capsys.readouterr().out
    assert printed.count("512.4 lx") >= 2
    assert len(bus.written) == 2


def run_micropython(name: str, machine: SimpleNamespace, ticks: SimpleNamespace, monkeypatch: pytest.MonkeyPatch) -> None:
    """Run a MicroPython sketch under Python until its time is over."""
    monkeypatch.setitem(sys.modules, "machine", machine)
    monkeypatch.setitem(sys.modules, "time", ticks)
    with pytest.raises(Gone):
        exec(compile((SKETCHES / f"{name}.py").read_text(encoding="utf-8"), name, "exec"), {})


@pytest.mark.parametrize("chip", CHIPS)
def test_micropython_sketch_prints_lux(chip: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Each sketch of some twenty lines sets its chip up as build (a) does and prints the same lines."""
    address, registers, lux, full = CHIPS[chip]
    for regs, wanted in ((registers, lux), (full, None)):
        bus, left = Bus(address, regs), iter([1, 1])

        def sleep(_seconds: float, left=left) -> None:
            if next(left, None) is None:
                raise Gone

        machine = SimpleNamespace(I2C=lambda *_a, bus=bus, **_k: bus, Pin=lambda n: n)
        run_micropython(chip, machine, SimpleNamespace(sleep=sleep), monkeypatch)
        printed = capsys.readouterr().out
        assert bus.written == SETTINGS[chip]
        if wanted is None:
            assert printed == "OL\nOL\n"
        else:
            assert [s.illuminance_lx for s in understood(printed)] == pytest.approx([wanted] * 2, abs=0.06)


def pops_of(printed: str) -> list[PopFigures]:
    """What the shipped dialect of pops makes of it; nothing is refused."""
    decoder = make_decoder("pop-lines")
    samples = decoder.feed(b"\n" + printed.encode(), 0.0)
    assert decoder.stats.damaged_total == 0
    return [s for s in samples if isinstance(s, PopFigures)]


def told_by_pop_py(peak_lx: float, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> str:
    """What the sketch prints of an exponential flash of 0.5 ms after a second in the dark."""
    clock = {"us": 0.0}

    class Converter:
        def __init__(self, _pin: int) -> None:
            pass

        def read_u16(self) -> int:
            clock["us"] += 12
            if clock["us"] > 1_060_000:
                raise Gone
            since = clock["us"] - 1_020_000
            light = 0.0 if since < 0 else peak_lx * math.exp(-since / 500)
            return min(int(1300 + light / 200_000 * 65535), 65535)

    ticks = SimpleNamespace(ticks_us=lambda: clock["us"], ticks_diff=lambda a, b: a - b)
    run_micropython("pop", SimpleNamespace(ADC=Converter, Pin=lambda n: n), ticks, monkeypatch)
    return capsys.readouterr().out


def test_micropython_pop_sketch_integrates_a_flash(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """An exponential flash of 120 klx and 0.5 ms is told as 60 lx·s within 5 %, with its t0.1 of 1.15 ms and its peak."""
    printed = told_by_pop_py(120_000, monkeypatch, capsys)
    assert printed.count("pops\n0.0 lx\n") == 2  # in the second before
    (pop,) = pops_of(printed)
    exposure, t01, peak = pop.exposure_lxs, pop.t01_s, pop.peak_lx
    assert exposure == pytest.approx(60, rel=0.05)
    assert t01 == pytest.approx(0.5e-3 * math.log(10), rel=0.05)
    assert peak == pytest.approx(120_000, rel=0.06)


@pytest.mark.parametrize(("peak_lx", "clipped"), [(180_000, False), (400_000, True)])
def test_micropython_pop_sketch_says_when_the_converter_was_full(
    peak_lx: float, clipped: bool, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A flash of twice the full scale is told as clipped, one below it is not: the program believes the line."""
    (pop,) = pops_of(told_by_pop_py(peak_lx, monkeypatch, capsys))
    assert pop.clipped is clipped


@pytest.fixture(scope="module")
def boards(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Every C++ sketch compiled against headers of our own, warnings as errors."""
    if shutil.which("g++") is None:
        pytest.skip("needs g++")
    folder = tmp_path_factory.mktemp("sketches")
    for sketch in SKETCHES.glob("*.ino"):
        subprocess.run(
            ["g++", "-std=c++17", "-Wall", "-Wextra", "-Werror", f"-I{HERE / 'arduino'}", "-include", "Arduino.h", "-x", "c++",
             str(sketch), str(HERE / "arduino" / "board.cpp"), "-o", str(folder / sketch.stem)],
            check=True,
        )  # fmt: skip
    return {s.stem: folder / s.stem for s in SKETCHES.glob("*.ino")}


@pytest.mark.parametrize("chip", CHIPS)
def test_cpp_sketch_prints_lux(chip: str, boards: dict[str, Path]) -> None:
    """The C++ sketch sends its chip the same settings and prints the same lux, OL, or what to check."""
    address, registers, lux, full = CHIPS[chip]

    def run(where: int, regs: dict[int, bytes]) -> tuple[str, list[str]]:
        words = [f"{r:x}={v.hex()}" for r, v in regs.items()]
        lines = subprocess.run([boards[chip], f"{where:x}", *words], capture_output=True, text=True, check=True).stdout.splitlines()
        return next(x for x in lines if not x.startswith("# sent")), [x for x in lines if x.startswith("# sent")]

    said, sent = run(address, registers)
    assert understood(said + "\n")[0].illuminance_lx == pytest.approx(lux, abs=0.06)
    settings = ["# sent " + " ".join(f"{b:02x}" for b in (([r] if r is not None else []) + list(d))) for r, d in SETTINGS[chip]]
    assert sent[: len(settings)] == settings
    assert run(address, full)[0] == "OL"
    assert run(0x7F, registers)[0] == "# no light chip answers: check the four wires"


def test_cpp_pop_sketch_integrates_a_flash(boards: dict[str, Path]) -> None:
    """A flash of 600 codes and 1.5 ms is told as 176 lx·s within 8 % and its t0.1 of 3.5 ms, with a converter that takes 0.1 ms
    a sample."""
    said = subprocess.run([boards["pop"], "pop", "600", "1500"], capture_output=True, text=True, check=True).stdout
    assert said.count("pops\n0.0 lx\n") == 2
    (pop,) = pops_of(said)
    exposure, t01, peak = pop.exposure_lxs, pop.t01_s, pop.peak_lx
    assert exposure == pytest.approx(600 / 1023 * 200_000 * 1.5e-3, rel=0.08)
    assert t01 == pytest.approx(1.5e-3 * math.log(10), rel=0.08)
    assert peak == pytest.approx(600 / 1023 * 200_000, rel=0.1)


@pytest.mark.parametrize(("codes", "clipped"), [(900, False), (2000, True)])
def test_cpp_pop_sketch_says_when_the_converter_was_full(codes: int, clipped: bool, boards: dict[str, Path]) -> None:
    """The same of the C++ sketch."""
    said = subprocess.run([boards["pop"], "pop", str(codes), "1500"], capture_output=True, text=True, check=True).stdout
    (pop,) = pops_of(said)
    assert pop.clipped is clipped


def test_sketches_are_short_and_say_that_they_never_ran() -> None:
    """Each has at most thirty lines and says in its first lines that no hardware has run it."""
    files = list(SKETCHES.iterdir())
    assert {f.suffix for f in files} == {".py", ".ino"}
    for file in files:
        lines = file.read_text(encoding="utf-8").splitlines()
        assert len(lines) <= 30
        assert "Never run on hardware" in lines[0]
