"""Calibrate and verify the real firmware on the simulated chip: 50 seeded sensors, and the bad builds that its bench knows.

The same walks, distributions and goals as ``bench_calibration_coverage``; light goes in as lux, bytes come out of a pty.
Needs avr-gcc and simavr (``hardware_notes.firmware.bench.simulated_chip.why_not`` says what is missing).

    python -m benchmarks.bench_calibration_chip [SENSORS [SEED]]
"""

from __future__ import annotations

import os
import sys
import tty
from typing import Any

import numpy as np

from benchmarks.bench_calibration_coverage import Oracle, Trial, calibrated, check_readings, report
from benchmarks.calibration_walks import CannotDo, Photographer
from benchmarks.calibration_world import FULL_SCALE_LX, Build, SimulatedSensor, draw
from hardware_notes.firmware.bench.simulated_chip import SimulatedChip, why_not
from meterlink.calibration.acceptance import AcceptanceWalk
from meterlink.calibration.faults import name_faults
from meterlink.calibration.judge import judge
from meterlink.calibration.procedure import TYPED
from meterlink.errors import CalibrationError
from meterlink.records import Identity, Measurement, Steady, WaveBlock
from meterlink.sensor.dialects.messages import SET_RANGE, STEADY_RATE
from meterlink.sensor.dialects.native import NativeDecoder
from meterlink.sensor.measuring import flash, levels, ranges


class ChipSensor(SimulatedSensor):
    """The world's sensor with the converter, the capture and the line of the real firmware."""

    def __init__(self, chip: SimulatedChip, build: Build, rng: np.random.Generator) -> None:
        super().__init__(build, rng)
        self.chip, self.decoder = chip, NativeDecoder()
        self.fd = os.open(chip.pty_path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        tty.setraw(self.fd)
        self.range = -1
        self.index = 0
        """Range the last capture was taken on."""
        self._set_amplifier()
        self._say(self.decoder.identify())
        found = [s for s in self._run(60) if isinstance(s, Identity)]
        self.identity = found[-1]
        self.calibration = self.calibration._replace(sensor_id=self.identity.sensor_id)
        self._say(self.decoder.command(STEADY_RATE, 25))
        self._run(45)

    def close(self) -> None:
        """Let go of the line."""
        os.close(self.fd)

    def _set_amplifier(self) -> None:
        b = self.build
        full = FULL_SCALE_LX[::-1] if b.swapped else FULL_SCALE_LX
        # The bench bends the voltage, v + n v²; the world's bend is that of the light.
        self.chip.amplifier(
            full_scale_0_lx=full[0] / b.gain[0], full_scale_1_lx=full[1] / b.gain[1], offset=b.dark[0],
            nonlinearity=-b.bend[0], noise=b.noise, hum=b.hum / 2, hum_hz=50.0, pole_us=b.slow_s * 1e6,
            seed=int(self.rng.integers(1, 2**31)),
        )  # fmt: skip

    def _say(self, data: bytes) -> None:
        os.write(self.fd, data)

    def _run(self, milliseconds: float) -> list[Any]:
        self.chip.step(milliseconds)
        self.at_s += milliseconds / 1000
        data = b""
        while True:
            try:
                piece = os.read(self.fd, 65536)
            except BlockingIOError:
                break
            if not piece:
                break
            data += piece
        return self.decoder.feed(data, self.at_s)

    def _use(self, index: int) -> None:
        if index != self.range:
            self._say(self.decoder.command(SET_RANGE, index))
            self.range = index
            self._run(30)

    def _steady_now(self) -> Steady:
        for _ in range(8):
            found = [s for s in self._run(42) if isinstance(s, Steady)]
            if found and found[-1].range_index == self.range:
                return found[-1]
        raise AssertionError("the chip sends no steady light")

    def steady(self, light_lx: float, index: int, angle_deg: float = 0.0, *, capped_leak: bool = False) -> Measurement:
        """Take steady light; two windows pass so that none saw the old light."""
        self.chip.ambient(float(light_lx * self.response(angle_deg)))
        self._use(index)
        self._run(85)
        return levels.level(self._steady_now(), self.identity.sensor_id, self.calibration)

    def flash(
        self, exposure_lxs: float, index: int, tau_s: float = 4e-4, angle_deg: float = 0.0, ambient_lx: float = 100.0
    ) -> Measurement:
        """Take one pop with its room light before."""
        self.chip.ambient(ambient_lx * self.response(angle_deg))
        self._use(index)
        self._run(45)
        room = self._steady_now()
        gain = 1 + self.build.scatter * self.rng.normal() if self.build.scatter else 1.0
        peak = exposure_lxs * self.response(angle_deg) * gain / tau_s
        self.chip.pop(float(peak), decay_us=tau_s * 1e6, at_ms=2 + float(self.rng.uniform(0, 1)))
        blocks = [s for s in self._run(110) if isinstance(s, WaveBlock)]
        if not blocks:
            note = "no pop was seen"
            return Measurement("flash", self.at_s, self.identity.sensor_id, self.calibration.id, range_index=index,
                               incomplete=True, too_dim=True, note=note)  # fmt: skip
        block = blocks[-1]
        found = flash.measure(block, self.identity.sensor_id, self.calibration, room)
        if found.incomplete:
            return found
        peak_raw = flash.peak_raw(block, self.calibration)
        advice = ranges.after_pop(peak_raw, found.clipped, index, self.calibration, self.identity.ranges)
        return found._replace(clipped=advice.clipped, too_dim=advice.too_dim, wave=None)


def one_build(rng: np.random.Generator) -> tuple[Build, Any]:
    """Draw a sensor that the bench can be: one offset, one bend for both ranges, its own pole."""
    build, reference = draw(rng)
    return build._replace(dark=(build.dark[0],) * 2, bend=(build.bend[0],) * 2, slow_s=AMPLIFIER_S), reference


AMPLIFIER_S = 6.8e-6
BAD: dict[str, tuple[dict[str, Any], str]] = {
    "swapped resistors": ({"swapped": True}, "swapped resistors"),
    "mains hum": ({"hum": 0.12}, "mains hum"),
    "disk mounted as dome": ({"receptor": "flat"}, "flat in place of dome"),
    "diode the wrong way round": ({"dark": (0.07, 0.07)}, "dark offset"),
    "zero not lifted": ({"dark": (0.001, 0.001)}, "zero not lifted"),
    "slow amplifier": ({"slow_s": 1.2e-3}, "slow amplifier"),
    "loose contact": ({"scatter": 0.09}, "loose contact"),
    "wrong resistor": ({"gain": (0.62, 1.0)}, "wrong resistor"),
    "diode against a voltage": ({"bend": (0.35, 0.35)}, "not linear"),
    "leaky dome": ({"rim_leak": 0.9}, "leaky dome"),
}


def chip_coverage(sensors: int, seed: int) -> Trial:
    """Calibrate so many chips and let each take its test readings."""
    trial, refused = Trial([], [], 0, [], []), 0
    for i in range(sensors):
        rng = np.random.default_rng([seed, 7, i])
        build, reference = one_build(rng)
        with SimulatedChip() as chip:
            sensor = ChipSensor(chip, build, rng)
            try:
                person = Photographer(sensor, rng, reference)
                calibration, walk, turned = calibrated(sensor, person)
                trial.measured.append(sum(t.task.kind != TYPED for t in walk.taken))
                trial.swaps.append(person.swaps)
                trial.sensors.append(check_readings(sensor, calibration, Oracle(sensor, walk, turned), reference))
                trial.claims.append(calibration.details["claim"])
            except CalibrationError as error:
                print(f"  sensor {i} refused: {error}")
                refused += 1
            finally:
                sensor.close()
    return trial._replace(refused=refused)


def chip_faults(build: Build, rng: np.random.Generator) -> set[str]:
    """Verify one chip and return the causes named."""
    with SimulatedChip() as chip:
        sensor = ChipSensor(chip, build, rng)
        walk = AcceptanceWalk(sensor.identity, sensor.calibration, nominal_lx=FULL_SCALE_LX)
        try:
            Photographer(sensor, rng).walk(walk)
        except CannotDo as where:
            print(f"  stopped: {where}")
        finally:
            sensor.close()
        return {f.name for f in name_faults(judge(walk))}


def main(sensors: int = 50, seed: int = 20) -> bool:
    """Run all and print a table."""
    missing = why_not()
    if missing:
        print(f"not run: {missing}")
        return True
    good = report(chip_coverage(sensors, seed), f"{sensors} sensors on the simulated chip, seed {seed}")
    named = 0
    for k, (kind, (fault, name)) in enumerate(BAD.items()):
        rng = np.random.default_rng([seed, 8, k])
        causes = chip_faults(one_build(rng)[0]._replace(**fault), rng)
        named += name in causes
        print(f"  {kind:<36} {'named' if name in causes else 'MISSED'}  {', '.join(sorted(causes))}")
    rng = np.random.default_rng([seed, 9])
    print(f"  sound build: {', '.join(sorted(chip_faults(one_build(rng)[0], rng))) or 'nothing named'}")
    print(f"  kinds named on the chip: {named} of {len(BAD)} (goal 9 in 10)")
    return good and named >= 0.9 * len(BAD)


if __name__ == "__main__":
    arguments = [int(a) for a in sys.argv[1:3]]
    sys.exit(0 if main(*arguments) else 1)
