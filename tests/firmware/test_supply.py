"""The supply as reference, from the simulated chip's pins to light: swept, calibrated, not calibrated."""

from __future__ import annotations

import math
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from hardware_notes.firmware.bench.simulated_chip import SimulatedChip, why_not
from meterlink.records import Calibration, Measurement, RangeScale, Status
from meterlink.sensor.dialects.messages import GET_STATUS
from meterlink.sensor.dialects.native import NativeDecoder
from meterlink.sensor.measuring.calibrate import REFERENCE_KEY, at_reference, supply_row
from meterlink.sensor.measuring.intake import Intake, Outlets

FULL_LX = (2e6, 2e5)
SUPPLIES_V = (4.5, 4.6, 4.75, 4.9, 5.0, 5.1, 5.25, 5.4, 5.5)


class Host:
    """A chip on its pty and an intake behind it, in step."""

    def __init__(self, chip: SimulatedChip, calibration: Calibration | None) -> None:
        self.chip, self.decoder = chip, NativeDecoder()
        self.pops: list[Measurement] = []
        self.levels: list[Measurement] = []
        self.words: list[str] = []
        self.intake = Intake(
            "sim", lambda _identity: calibration, Outlets(self.pops.append, self.levels.append, lambda _i: None, self.words.append)
        )
        self.fd = os.open(chip.pty_path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        self.now_s = 0.0
        self.ask(self.decoder.identify(), 60)

    def ask(self, data: bytes, ms: float) -> None:
        """Send, let time pass, take what comes."""
        os.write(self.fd, data)
        self.run(ms)

    def run(self, ms: float) -> None:
        """Let time pass and take what comes."""
        self.chip.step(ms)
        self.now_s += ms / 1000
        while True:
            try:
                data = os.read(self.fd, 65536)
            except BlockingIOError:
                return
            if not data:
                return
            for sample in self.decoder.feed(data, self.now_s):
                if self.intake.identity is None and type(sample).__name__ == "Identity":
                    self.intake.meet(sample)
                elif type(sample).__name__ != "Identity":
                    self.intake.take(sample)

    def status(self) -> Status:
        """Ask for the state."""
        self.ask(self.decoder.command(GET_STATUS), 60)
        assert self.intake.status is not None
        return self.intake.status

    def steady_lx(self) -> float:
        """Mean of the steady light."""
        self.run(120)
        self.levels.clear()
        self.run(900)
        values = [m.illuminance_lx for m in self.levels if m.illuminance_lx is not None]
        return sum(values) / len(values)

    def pop_stops(self) -> float:
        """Error of one pop, in stops."""
        self.run(50)
        self.pops.clear()
        truth = self.chip.pop(1.1e6, decay_us=900, rise_us=50, at_ms=2)
        self.run(150)
        (found,) = self.pops
        assert found.exposure_lxs
        return math.log2(found.exposure_lxs / truth)


@pytest.fixture
def chip() -> Iterator[SimulatedChip]:
    """A paused chip."""
    reason = why_not()
    if reason:
        pytest.skip(reason)
    with SimulatedChip() as started:
        yield started


def made_at(status: Status, reference_raw: float | None = None) -> Calibration:
    """A calibration whose scale is right at the supply of a status."""
    details = {REFERENCE_KEY: reference_raw or status.reference_raw}
    ranges = tuple(RangeScale(full, 0.02) for full in FULL_LX)
    return Calibration("c", "s", 0.0, 330.0, ranges=ranges, u_scale_rel=0.02, method="reference", details=details)


def test_supply_swept_from_4_5_to_5_5_costs_at_most_a_fiftieth_of_a_stop(chip: SimulatedChip) -> None:
    """Calibrated at 5.0 V by a chip whose own reference is 6 % off, steady light and a pop read within 0.02 stop at every
    supply."""
    chip.amplifier(bandgap_v=1.1 * 1.06)
    host = Host(chip, None)
    host.intake.recalibrate(made_at(host.status()))
    chip.ambient(0.0)
    for supply_v in SUPPLIES_V:
        chip.amplifier(supply_v=supply_v)
        host.status()
        assert abs(host.pop_stops()) <= 0.02, supply_v
        chip.ambient(700_000.0)
        assert abs(math.log2(host.steady_lx() / 700_000.0)) <= 0.02, supply_v
        chip.ambient(0.0)


def test_without_the_correction_the_supply_is_the_error(chip: SimulatedChip) -> None:
    """The same chip, not asked again after its supply fell from 5.0 to 4.7 V, reads 0.09 stop too much: the test above can fail."""
    host = Host(chip, None)
    host.intake.recalibrate(made_at(host.status()))
    chip.amplifier(supply_v=4.7)
    assert host.pop_stops() == pytest.approx(math.log2(5.0 / 4.7), abs=0.012)


def test_uncalibrated_sensor_states_its_own_references_tolerance(chip: SimulatedChip) -> None:
    """The assumed scale follows the supply, takes the ±9 % of the chip's reference into its uncertainty, and says so once."""
    chip.amplifier(supply_v=4.6)
    host = Host(chip, None)
    host.status()
    host.status()
    calibration = host.intake.calibration
    assert calibration is not None
    assert abs(host.pop_stops()) < 0.02
    assert calibration.u_scale_rel == pytest.approx(math.hypot(0.1, 0.1 / 1.1 / math.sqrt(3)), rel=1e-3)
    assert [w for w in host.words if "own reference" in str(w) and "±9 %" in str(w)] == host.words[:1]
    assert len(host.words) == 1


def test_a_calibration_of_before_is_taken_to_hold_now_and_says_so(chip: SimulatedChip) -> None:
    """One made before references were told corrects only what changes from now on, and asks to be made anew."""
    old = made_at(Status(0.0))._replace(details={})
    host = Host(chip, old)
    host.status()
    assert host.intake.calibration is not None
    assert host.intake.calibration.ranges == old.ranges
    assert "calibrate anew" in str(host.words[0])
    chip.amplifier(supply_v=4.6)
    host.status()
    assert abs(host.pop_stops()) < 0.02


def test_walk_made_at_another_supply_is_a_calibration_for_that_supply(chip: SimulatedChip) -> None:
    """What ``calibrate`` starts from holds at the supply of now: its zero and scale are raw values of now, and the record says
    of which."""
    host = Host(chip, None)
    status_5 = host.status()
    host.intake.recalibrate(made_at(status_5))
    chip.amplifier(supply_v=4.5)
    status_45 = host.status()
    calibration = host.intake.calibration
    assert calibration is not None
    assert calibration.details[REFERENCE_KEY] == status_45.reference_raw
    assert calibration.ranges[0].dark_raw == 0.02
    assert at_reference(calibration, status_45).ranges[0].full_scale_lx == pytest.approx(calibration.ranges[0].full_scale_lx)
    back = at_reference(calibration, status_5)
    assert back.ranges[0].full_scale_lx == pytest.approx(2e6, rel=1e-9)


def test_row_of_verify_has_correction_and_uncertainty() -> None:
    """5.0 to 4.7 V is a correction of −0.09 stop; known to 0.01 stop (k=2) when calibrated, to 0.15 when only the design is
    known."""
    now = Status(0.0, reference_raw=1.1 / (0.96614 * 4.7), reference_by_design_raw=1.1 / 4.8307, reference_tolerance_rel=0.1 / 1.1)
    calibrated = made_at(now, 1.1 / (0.96614 * 5.0))
    figure, u = supply_row(calibrated, now) or (0.0, 0.0)
    assert figure == pytest.approx(math.log2(4.7 / 5.0), abs=1e-3)
    assert 2 * u == pytest.approx(0.0146, abs=0.002)
    _, u = supply_row(calibrated._replace(details={}), now) or (0.0, 0.0)
    assert 2 * u == pytest.approx(0.151, abs=0.002)
    assert supply_row(calibrated, Status(0.0)) is None


def test_sensor_is_named_from_the_command_line() -> None:
    """``sensors --name`` gives a nameless chip a new id and the name, keeps the id when the name changes, and refuses a name of
    33 bytes."""
    reason = why_not()
    if reason:
        pytest.skip(reason)

    def name(chip: SimulatedChip, text: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "meterlink", "sensors", "--name", text, chip.pty_path]
        return subprocess.run(command, capture_output=True, text=True, timeout=60, cwd=Path(__file__).parents[2])

    with SimulatedChip(paused=False, sensor_id="0000000000000000", name="") as chip:
        first = name(chip, "my dome")
        assert first.returncode == 0, first.stderr
        assert first.stdout.startswith("my dome (")
        assert "a new id" in first.stdout
        sensor_id = first.stdout.split("(")[1][:16]
        assert int(sensor_id, 16) != 0
        assert name(chip, "Stirn").stdout == f"Stirn ({sensor_id})\n"
        refused = name(chip, "n" * 33)
        assert refused.returncode == 2
        assert "at most 32 bytes" in refused.stderr
