"""The real firmware on the simulated chip, over its pty, read with a decoder that is not meterlink's."""

from __future__ import annotations

import os
import random
import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("cobs.cobs")
from chip_reader import Line, exposure_raw_s, of, times_and_raw, unpack

from meterlink.errors import LinkLost, LinkNotFound, UsageError
from meterlink.simulation import chip as chip_module
from meterlink.simulation.chip import BRIGHT_FULL_SCALE_LX, DIM_FULL_SCALE_LX, SimulatedChip

READY_MS = 12.0
"""After this long a chip that was switched on watches for pops."""
POP_MS = 110.0
"""20 ms of capture and 50 ms of line, with time to spare."""


def test_identifies_itself_after_start_and_when_asked(chip: SimulatedChip, line: Line) -> None:
    """A chip tells who it is unasked, and again on IDENTIFY, with its id and name from the EEPROM."""
    first = of(line.after(READY_MS), "IDENTITY")
    line.send("IDENTIFY")
    second = of(line.after(5), "IDENTITY")
    assert len(first) == len(second) == 1
    assert first == second
    assert first[0]["id"].hex() == "4d4c000000000001"
    assert first[0]["name"] == "bench dome"
    assert (first[0]["ring"], first[0]["adc_bits"], first[0]["interval_ns"], first[0]["ranges"]) == (1024, 10, 13000, 2)
    assert first[0]["capabilities"] == 0b100011
    assert line.damaged == 0
    assert line.raw[0] == 0, "a sender begins with 0x00"


def test_id_and_name_are_the_sensors_own() -> None:
    """Two chips with different EEPROMs tell different ids."""
    reason = chip_module.why_not()
    if reason:
        pytest.skip(reason)
    seen = []
    for sensor_id, name in (("00112233445566ff", "Kuppel für Anna"), ("ffffffffffffffff", "ignored when erased")):
        with SimulatedChip(sensor_id=sensor_id, name=name) as one:
            line = Line(one)
            seen += [(m["id"].hex(), m["name"]) for m in of(line.after(READY_MS), "IDENTITY")]
            line.close()
    assert seen == [("00112233445566ff", "Kuppel für Anna"), ("0" * 16, "ignored when erased")]


@pytest.mark.parametrize("lux", [0.0, 700.0, 25_000.0, 640_000.0, 1_900_000.0])
def test_steady_light_ten_times_a_second(chip: SimulatedChip, line: Line, lux: float) -> None:
    """Steady light comes at 10 Hz as sums whose mean is the light, to a step of the converter and not by its digits."""
    chip.ambient(lux)
    line.after(READY_MS)
    got = of(line.after(1000), "STEADY")
    assert len(got) == 10
    for window in got[1:]:
        mean = (window["sum"] / window["count"] + 0.5) / 1024
        assert abs(mean - (lux / BRIGHT_FULL_SCALE_LX + 0.0123)) <= 0.5 / 1024 + 1e-9
        assert window["count"] == pytest.approx(3846, abs=40)
        assert window["min"] == window["max"]
        assert window["flags"] == 0


def test_noise_dithers_steady_light_below_a_step(chip: SimulatedChip, line: Line) -> None:
    """With noise of a step or so the mean of thousands of conversions is true to a fiftieth of a step."""
    chip.amplifier(noise=0.0015, seed=4)
    chip.ambient(123_456.0)
    line.after(300)
    means = [w["sum"] / w["count"] + 0.5 for w in of(line.after(1000), "STEADY")]
    assert np.mean(means) == pytest.approx((123_456 / BRIGHT_FULL_SCALE_LX + 0.0123) * 1024, abs=0.02)


def test_flickering_light_shows_its_modulation(chip: SimulatedChip, line: Line) -> None:
    """The smallest and largest code of a window show a lamp that flickers with the mains, and it is no pop."""
    chip.ambient(100_000.0, flicker_depth=0.3, flicker_hz=100.0)
    line.after(200)
    messages = line.after(400)
    for window in of(messages, "STEADY"):
        low, high = window["min"] + 0.5 - 0.0123 * 1024, window["max"] + 0.5 - 0.0123 * 1024
        assert (high - low) / (high + low) == pytest.approx(0.3, abs=0.02)
    assert not of(messages, "POP")


def test_saturated_room_is_flagged_and_does_not_stop_the_chip(chip: SimulatedChip, line: Line) -> None:
    """At full scale STEADY and STATUS say so, no pop is invented, no conversion is missed."""
    line.after(READY_MS)
    chip.ambient(3e6)
    messages = line.after(500)
    assert len(of(messages, "STEADY")) >= 4
    assert all(w["flags"] & 1 for w in of(messages, "STEADY")[1:])
    line.send("GET_STATUS")
    (status,) = of(line.after(40), "STATUS")
    assert status["flags"] & 2
    assert len(of(messages, "POP")) == 1, "the step up is taken for a pop, once"
    assert chip.stats().samples_missed == 0


@pytest.mark.parametrize("part", [0.8, 0.2])
@pytest.mark.parametrize("decay_us", [1500.0, 500.0, 250.0, 90.0])
def test_exposure_of_a_pop(chip: SimulatedChip, line: Line, part: float, decay_us: float) -> None:
    """The integral of a block is the flash's exposure, on average within 1 %, worst within 3 % (8 % at 1/5000 s)."""
    chances = random.Random(9)
    line.after(READY_MS)
    errors = []
    for _ in range(8):
        truth_lxs = chip.pop(part * BRIGHT_FULL_SCALE_LX, decay_us=decay_us, rise_us=decay_us / 10,
                             at_ms=1 + chances.random())  # fmt: skip
        messages = line.after(POP_MS)
        (pop,), (block,) = of(messages, "POP"), of(messages, "BLOCK")
        assert pop["pop"] == block["pop"]
        assert pop["time_ms"] == block["time_ms"]
        assert block["flags"] == 0
        errors.append(exposure_raw_s(block) * BRIGHT_FULL_SCALE_LX / truth_lxs - 1)
    assert abs(np.mean(errors)) < 0.012
    assert max(map(abs, errors)) < (0.03 if decay_us > 100 else 0.08)
    assert chip.stats().samples_missed == 0


def test_block_has_the_shape_of_the_pop(chip: SimulatedChip, line: Line) -> None:
    """A flat-topped flash stands in the block at its level, its length and its moment."""
    line.after(READY_MS)
    chip.rectangle(1.0e6, width_us=2600.0, at_ms=3.0)
    block = of(line.after(POP_MS), "BLOCK")[0]
    times_s, raw, lengths_s = times_and_raw(block)
    lit = raw > 0.25
    assert block["pretrigger"] == 128
    assert list(np.flatnonzero(lit)) == list(range(128, 328)), "from the trigger on, 200 samples of 13 µs"
    # Without the sample in whose conversion it rises: the amplifier takes 2 µs, and the moment within it is chance.
    assert raw[lit][1:].mean() == pytest.approx(0.5123, abs=0.0003)
    assert raw[~lit].mean() == pytest.approx(0.0123, abs=0.0003), "10 bits survive in 8-bit samples"
    assert float(lengths_s.sum()) == pytest.approx(128 * 13e-6 + 1536 * 13e-6)
    assert times_s[-1] == pytest.approx(0.01994, abs=1e-4)


def test_pop_is_told_before_its_block(chip: SimulatedChip, line: Line) -> None:
    """The POP is there when the capture is done, some 50 ms before the block."""
    line.after(READY_MS)
    chip.pop(1e6, decay_us=400, rise_us=30)
    kinds = [m.kind for m in line.after(24)]
    assert "POP" in kinds
    assert "BLOCK" not in kinds
    assert "BLOCK" in [m.kind for m in line.after(60)]


def test_slow_head_fits_and_is_not_truncated(chip: SimulatedChip, line: Line) -> None:
    """t0.1 of 1/100 s (decay 4.3 ms): 20 ms of ring keep 99 %; what is not fallen back is flagged; factor 4 has it all."""
    line.after(READY_MS)
    truth_lxs = chip.pop(1.2e6, decay_us=4300, rise_us=200)
    block = of(line.after(POP_MS), "BLOCK")[0]
    assert exposure_raw_s(block) * BRIGHT_FULL_SCALE_LX == pytest.approx(truth_lxs * 0.99, rel=0.01)
    truth_lxs = chip.pop(1.2e6, decay_us=15_000, rise_us=500)
    block = of(line.after(POP_MS), "BLOCK")[0]
    assert block["flags"] & 2, "truncated"
    line.send("SET_INTERVAL", b"\x04")
    line.after(300)
    truth_lxs = chip.pop(1.2e6, decay_us=15_000, rise_us=500)
    block = of(line.after(250), "BLOCK")[0]
    assert exposure_raw_s(block) * BRIGHT_FULL_SCALE_LX == pytest.approx(truth_lxs * 0.995, rel=0.01)


@pytest.mark.parametrize("factor", [1, 2, 4, 8])
def test_set_interval(chip: SimulatedChip, line: Line, factor: int) -> None:
    """Each factor is announced in the block's segments and in STATUS, and the exposure stays right."""
    line.after(READY_MS)
    sequence = line.send("SET_INTERVAL", bytes([factor]))
    line.send("GET_STATUS")
    messages = line.after(40)
    assert of(messages, "REPLY") == [{"command": 0x85, "its_sequence": sequence, "code": 0}]
    assert of(messages, "STATUS")[0]["interval_ns"] == 13000 * factor
    truth_lxs = chip.pop(1e6, decay_us=1500, rise_us=100, at_ms=1.3)
    block = of(line.after(POP_MS + 25 * factor), "BLOCK")[0]
    assert block["segments"] == [(640, 13000 * factor), (256, 26000 * factor), (128, 52000 * factor)]
    assert exposure_raw_s(block) * BRIGHT_FULL_SCALE_LX == pytest.approx(truth_lxs, rel=0.02)
    assert chip.stats().samples_missed == 0


def test_fast_train_gives_its_mean_level(chip: SimulatedChip, line: Line) -> None:
    """Pulses at 20 kHz, as for high-speed sync, are not resolved; the mean level of the block is right within 1 %."""
    line.after(READY_MS)
    truth_lxs = chip.pop(1.2e6, decay_us=20, rise_us=2, count=160, period_us=50, at_ms=1.1)
    block = of(line.after(POP_MS), "BLOCK")[0]
    assert exposure_raw_s(block) * BRIGHT_FULL_SCALE_LX == pytest.approx(truth_lxs, rel=0.01)


def test_clipped_pop_is_flagged(chip: SimulatedChip, line: Line) -> None:
    """A pop beyond full scale has the flag in POP and BLOCK; one just below has not."""
    line.after(READY_MS)
    chip.pop(2.4e6, decay_us=500, rise_us=50)
    messages = line.after(POP_MS)
    assert of(messages, "POP")[0]["flags"] & of(messages, "BLOCK")[0]["flags"] & 1
    chip.pop(1.9e6, decay_us=500, rise_us=50)
    messages = line.after(POP_MS)
    assert not of(messages, "POP")[0]["flags"]


def test_ranges(chip: SimulatedChip, line: Line) -> None:
    """SET_RANGE closes the other feedback: ten times the signal, no pop from the step, windows that do not mix."""
    chip.ambient(50_000.0)
    line.after(300)
    assert chip.stats().range_pins == 1
    sequence = line.send("SET_RANGE", b"\x01")
    messages = line.after(500)
    assert chip.stats().range_pins == 0
    assert of(messages, "REPLY") == [{"command": 0x82, "its_sequence": sequence, "code": 0}]
    assert not of(messages, "POP")
    for window in of(messages, "STEADY"):
        full_scale_lx = (BRIGHT_FULL_SCALE_LX, DIM_FULL_SCALE_LX)[window["range"]]
        mean = (window["sum"] / window["count"] + 0.5) / 1024
        assert abs(mean - (50_000 / full_scale_lx + 0.0123)) <= 0.5 / 1024 + 1e-9
        assert window["max"] - window["min"] <= 1
    truth_lxs = chip.pop(1.0e5, decay_us=700, rise_us=50)
    block = of(line.after(POP_MS), "BLOCK")[0]
    assert block["range"] == 1
    assert exposure_raw_s(block) * DIM_FULL_SCALE_LX == pytest.approx(truth_lxs, rel=0.02)
    line.send("SET_RANGE", b"\x02")
    assert of(line.after(20), "REPLY")[0]["code"] == 2
    assert chip.stats().range_pins == 0


def test_two_pops_in_quick_succession(chip: SimulatedChip, line: Line) -> None:
    """A pop while the block before it is on the line is counted as lost, told at the next POP, and the block is whole."""
    line.after(READY_MS)
    first_lxs = chip.pop(1e6, decay_us=400, rise_us=30)
    chip.pop(1.4e6, decay_us=400, rise_us=30, at_ms=45)
    third_lxs = chip.pop(0.7e6, decay_us=400, rise_us=30, at_ms=150)
    messages = line.after(300)
    assert [(p["pop"], p["lost"]) for p in of(messages, "POP")] == [(1, 0), (2, 1)]
    got_lxs = [exposure_raw_s(b) * BRIGHT_FULL_SCALE_LX for b in of(messages, "BLOCK")]
    assert got_lxs == pytest.approx([first_lxs, third_lxs], rel=0.02)
    line.send("GET_STATUS")
    (status,) = of(line.after(20), "STATUS")
    assert (status["pops_seen"], status["pops_lost"]) == (3, 1)


def test_pops_every_tenth_of_a_second_are_all_kept(chip: SimulatedChip, line: Line) -> None:
    """Twenty pops 90 ms apart give twenty whole blocks with their own exposures, none lost."""
    line.after(READY_MS)
    truths_lxs = []
    got_lxs = []
    for i in range(20):
        truths_lxs.append(chip.pop(0.4e6 + 0.07e6 * i, decay_us=300, rise_us=30, at_ms=2.0))
        got_lxs += [exposure_raw_s(b) * BRIGHT_FULL_SCALE_LX for b in of(line.after(90), "BLOCK")]
    got_lxs += [exposure_raw_s(b) * BRIGHT_FULL_SCALE_LX for b in of(line.after(50), "BLOCK")]
    assert got_lxs == pytest.approx(truths_lxs, rel=0.03)
    assert chip.stats().samples_missed == 0


def test_steady_light_leaves_pops_out(chip: SimulatedChip, line: Line) -> None:
    """The room light that is reported around a pop is the room light."""
    chip.ambient(30_000.0)
    line.after(300)
    chip.pop(1.5e6, decay_us=1000, rise_us=50, at_ms=20)
    for window in of(line.after(400), "STEADY"):
        mean = (window["sum"] / window["count"] + 0.5) / 1024
        assert mean == pytest.approx(30_000 / BRIGHT_FULL_SCALE_LX + 0.0123, abs=1 / 1024)


def test_arming(chip: SimulatedChip, line: Line) -> None:
    """Disarmed it sees no pop but steady light; armed with a threshold it sees what is above that only."""
    line.after(READY_MS)
    line.send("ARM", struct.pack("<BH", 0, 0))
    line.after(10)
    chip.pop(1e6, decay_us=400, rise_us=30)
    messages = line.after(250)
    assert not of(messages, "POP")
    assert of(messages, "STEADY")
    line.send("ARM", struct.pack("<BH", 1, 0x4000))
    line.send("GET_STATUS")
    messages = line.after(30)
    assert of(messages, "STATUS")[0]["threshold"] == 0x4000
    chip.rectangle(0.2 * BRIGHT_FULL_SCALE_LX, width_us=500)
    assert not of(line.after(POP_MS), "POP")
    chip.rectangle(0.3 * BRIGHT_FULL_SCALE_LX, width_us=500)
    assert len(of(line.after(POP_MS), "POP")) == 1


def test_steady_rate(chip: SimulatedChip, line: Line) -> None:
    """STEADY_RATE sets how often steady light comes, up to 50 Hz, and 0 ends it; more is not possible."""
    line.after(READY_MS)
    for rate_hz, wanted in ((50, 50), (2, 2), (0, 0)):
        line.send("STEADY_RATE", bytes([rate_hz]))
        line.after(30)
        assert abs(len(of(line.after(1000), "STEADY")) - wanted) <= (1 if rate_hz else 0)
    line.send("STEADY_RATE", b"\x33")
    assert of(line.after(20), "REPLY")[0]["code"] == 2


def test_damaged_commands_are_counted_and_not_obeyed(chip: SimulatedChip, line: Line) -> None:
    """Garbage, a flipped bit, a short body and an overlong frame are refused without an answer; a good one is obeyed."""
    line.after(READY_MS)
    line.send_bytes(bytes(random.Random(1).randrange(1, 256) for _ in range(200)) + b"\0")
    line.after(40)
    line.send_bytes(bytes.fromhex("0201058204010101050201020304") + b"\0")
    line.send("SET_RANGE")
    line.send_bytes(b"\x33" * 500 + b"\0")
    messages = line.after(80)
    assert not of(messages, "REPLY")
    line.send(0xEE)
    line.send("GET_STATUS")
    messages = line.after(30)
    assert of(messages, "REPLY")[0]["code"] == 1
    assert of(messages, "STATUS")[0]["frames_refused"] == 4
    assert chip.stats().range_pins == 1
    assert chip.stats().samples_missed == 0


def test_flood_of_garbage_neither_stops_sampling_nor_the_chip(chip: SimulatedChip, line: Line) -> None:
    """4,000 bytes at full speed during a pop: no conversion is missed, the block is whole, commands are obeyed after."""
    line.after(READY_MS)
    chances = random.Random(2)
    line.send_bytes(bytes(chances.randrange(256) for _ in range(3000)))
    truth_lxs = chip.pop(1e6, decay_us=400, rise_us=30, at_ms=30)
    messages = line.after(250)
    assert exposure_raw_s(of(messages, "BLOCK")[0]) * BRIGHT_FULL_SCALE_LX == pytest.approx(truth_lxs, rel=0.02)
    line.send_bytes(b"\0")
    line.send("IDENTIFY")
    assert len(of(line.after(30), "IDENTITY")) == 1
    assert chip.stats().samples_missed == 0


def test_reset_in_mid_block(chip: SimulatedChip, line: Line) -> None:
    """A reset cuts the block in two: one damaged frame, then IDENTITY, numbers from the beginning, and all works."""
    line.after(READY_MS)
    chip.pop(1e6, decay_us=400, rise_us=30)
    line.after(45)
    chip.reset()
    messages = line.after(READY_MS)
    assert line.damaged == 1
    assert [m.kind for m in messages][-1] == "IDENTITY"
    assert messages[-1].sequence == 0
    chip.pop(1e6, decay_us=400, rise_us=30)
    (block,) = of(line.after(POP_MS), "BLOCK")
    assert block["pop"] == 1
    assert line.damaged == 1


def test_sequence_numbers_count_every_frame(chip: SimulatedChip, line: Line) -> None:
    """Through pops, steady light and commands no number is left out or used twice."""
    messages = line.after(READY_MS)
    for i in range(5):
        chip.pop(1e6, decay_us=200, rise_us=30)
        line.send(("GET_STATUS", "IDENTIFY")[i % 2])
        messages += line.after(130)
    assert [m.sequence for m in messages] == list(range(len(messages)))


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


def test_reference_is_measured_and_follows_the_supply(chip: SimulatedChip, line: Line) -> None:
    """GET_STATUS tells the chip's 1.1 V against 0.966 of the supply, within a step of 10 bits; sampling goes on afterwards and a
    pop is kept."""
    line.after(READY_MS)
    for supply_v in (4.5, 5.0, 5.5):
        chip.amplifier(supply_v=supply_v)
        line.send("GET_STATUS")
        (status,) = of(line.after(60), "STATUS")
        assert status["reference"] / 65536 == pytest.approx(1.1 / (0.96614 * supply_v), abs=0.6 / 1024)
        assert status["reference_by_design"] / 65536 == pytest.approx(1.1 / 4.8307, abs=1e-4)
        assert status["reference_tolerance"] / 65536 == pytest.approx(0.1 / 1.1, abs=1e-4)
    line.after(20)
    chip.pop(1.0e6, decay_us=500, rise_us=50)
    assert len(of(line.after(POP_MS), "BLOCK")) == 1
    assert chip.stats().samples_missed == 0


def test_status_during_a_capture_leaves_it_alone(chip: SimulatedChip, line: Line) -> None:
    """Asked in the middle of a flash the chip tells the last figure of its reference and keeps the flash whole."""
    line.after(READY_MS)
    truth_lxs = chip.pop(1.2e6, decay_us=2000, rise_us=50)
    line.after(5)
    line.send("GET_STATUS")
    messages = line.after(POP_MS)
    assert of(messages, "STATUS")[0]["reference"] == 0
    assert exposure_raw_s(of(messages, "BLOCK")[0]) * BRIGHT_FULL_SCALE_LX == pytest.approx(truth_lxs, rel=0.01)


@pytest.fixture
def nameless() -> Iterator[SimulatedChip]:
    """A chip whose memory was never written."""
    reason = chip_module.why_not()
    if reason:
        pytest.skip(reason)
    with SimulatedChip(sensor_id="0000000000000000", name="") as started:
        yield started


def test_identity_is_given_once_over_the_line_and_kept(nameless: SimulatedChip) -> None:
    """A chip without an id takes one, tells it and the name also after a reset; another id is refused, another name is not."""
    chip, line = nameless, Line(nameless)
    line.after(READY_MS)
    chosen, other = bytes.fromhex("4d4c00aabbccddee"), bytes.fromhex("4d4c00aabbccddef")

    def ask(unique_id: bytes, name: bytes) -> int:
        line.send("SET_IDENTITY", unique_id + bytes([len(name)]) + name)
        return int(of(line.after(300), "REPLY")[0]["code"])

    def told() -> tuple[bytes, str]:
        line.send("IDENTIFY")
        (identity,) = of(line.after(50), "IDENTITY")
        return identity["id"], identity["name"]

    assert told() == (bytes(8), "")
    assert ask(b"\xff" * 8, b"x") == 2
    assert ask(bytes(8), b"x") == 2
    assert ask(chosen, b"my dome") == 0
    assert told() == (chosen, "my dome")
    chip.reset()
    line.after(READY_MS)
    assert told() == (chosen, "my dome")
    assert ask(other, b"stolen") == 2
    assert ask(chosen, b"Stirn") == 0
    assert ask(chosen, b"n" * 33) == 2
    assert told() == (chosen, "Stirn")
    line.close()
