"""How far a calibrated sensor can be trusted: errors, coverage and width of its stated intervals, bad builds named.

2,000 seeded sensors of ``calibration_world`` (none of whose parameters the code under test knows) go through the walks
of ``meterlink calibrate``, ``calibrate angle`` and ``verify``.  Each then takes test readings, whose truth is known, from
1 (steady) or 5 % (peak of a pop) of each range to its end, half of them with the light up to 75 degrees off the axis.
Coverage is counted over all of them, the tenth of a stop over those that the calibration's own claim takes in.
``bench_calibration_chip`` does the same with the real firmware on the simulated chip.

The oracle knows the distributions of the world and every noise, sees the same evidence and states the posterior standard
deviation of the best linear estimate (Gaussian conditioning); its interval is the narrowest that is honest.

    python -m benchmarks.bench_calibration_coverage [SENSORS [SEED]]
"""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from benchmarks.calibration_figures import absolute_u_rel, stops_of
from benchmarks.calibration_walks import AGAIN_SPREAD, LAMP_LX, POP_SPREAD, PROTRACTOR_DEG, TAU_S, CannotDo, Photographer
from benchmarks.calibration_world import FULL_SCALE_LX, U_PLANE_M, U_REFERENCE_REL, Build, Reference, SimulatedSensor, draw
from meterlink.calibration import camera
from meterlink.calibration.acceptance import AcceptanceWalk
from meterlink.calibration.calibrate import AngleWalk
from meterlink.calibration.claim import CLAIM_STOPS
from meterlink.calibration.evidence import resolution_u_rel
from meterlink.calibration.faults import name_faults
from meterlink.calibration.judge import judge
from meterlink.calibration.procedure import TYPED
from meterlink.calibration.scale_walk import ScaleWalk
from meterlink.errors import CalibrationError
from meterlink.photometry.angle import error_stops
from meterlink.records import Calibration

STOPS = 1 / math.log(2)
U_READING_REL = math.hypot(resolution_u_rel(0.1), 0.01)
"""What the photographer says of one reading of her reference: shown in tenths, and held at the same place."""


class Checked(NamedTuple):
    """One test reading."""

    error_stops: float
    u_stops: float
    oracle_u_stops: float
    kind: str
    angle_deg: float
    claimed: bool
    """Whether the calibration claims a tenth of a stop for it."""
    reference_stops: float
    """Error that the reference itself has put into the scale."""


class Trial(NamedTuple):
    """What the sensors of one run did."""

    sensors: list[list[Checked]]
    """Test readings of each."""
    claims: list[dict[str, Any]]
    refused: int
    measured: list[int]
    """How often each sensor had to see a light in ``calibrate``."""
    swaps: list[int]
    """How often the meter changed hands."""


class World(NamedTuple):
    """What somebody calibrates with."""

    name: str
    lamp_lx: float = LAMP_LX
    """The brightest steady lamp at hand."""
    brightest_lx: float = math.inf
    """The highest peak of the flash at hand."""
    camera: bool = False
    """Whether a camera and a grey card stand for the reference."""


WORLDS = (
    World("a meter and a lamp of 150 klx"),
    World("a lamp of 15 klx", lamp_lx=15e3),
    World("a room lamp of 500 lx and one flash", lamp_lx=500.0),
    World("the same, a flash too weak for the bright range", lamp_lx=500.0, brightest_lx=3e5),
    World("a camera and a grey card, a lamp of 15 klx", lamp_lx=15e3, camera=True),
)


def calibrated(
    sensor: SimulatedSensor, person: Photographer, world: World = WORLDS[0]
) -> tuple[Calibration, ScaleWalk, AngleWalk]:
    """Run ``calibrate`` and ``calibrate angle``; the sensor then measures with the result."""
    person.lamp_lx, person.brightest_lx = world.lamp_lx, world.brightest_lx
    walk = ScaleWalk(sensor.identity, sensor.calibration, with_camera=world.camera)
    person.walk(walk)
    made = walk.result(
        reference="simulated",
        u_reference_rel=camera.U_SCALE_REL if world.camera else U_REFERENCE_REL,
        u_reference_reading_rel=camera.U_READING_REL if world.camera else U_READING_REL,
        method=camera.METHOD if world.camera else "reference",
    ).calibration
    sensor.calibration = made
    turned = AngleWalk(sensor.identity, made)
    person.walk(turned)
    final, _ = turned.result()
    sensor.calibration = final
    return final, walk, turned


def check_readings(
    sensor: SimulatedSensor, calibration: Calibration, oracle: Oracle, reference: Reference, count: int = 16
) -> list[Checked]:
    """Take readings all over both ranges, half of them with the light off the axis."""
    rng, found, claim = sensor.rng, [], calibration.details["claim"]
    u_rel_angle = calibration.details["angle"]["u_rel"]
    for i in range(count):
        index, kind = i % 2, ("flash", "steady")[(i // 2) % 2]
        angle = 0.0 if i % 8 < 4 else float(rng.uniform(-75, 75))
        share = sensor.response(angle)
        if kind == "flash":
            peak = math.exp(rng.uniform(math.log(0.05), math.log(0.9))) * calibration.ranges[index].full_scale_lx
            truth = peak / share * TAU_S
            m = sensor.flash(truth, index, TAU_S, angle)
            value, raw = m.exposure_lxs, None
        else:
            level = math.exp(rng.uniform(math.log(0.01), math.log(0.95)))
            truth = level * calibration.ranges[index].full_scale_lx / share
            m = sensor.steady(truth, index, angle)
            value, raw = m.illuminance_lx, (m.illuminance_lx or 0) / calibration.ranges[index].full_scale_lx
        if m.clipped or m.incomplete or not value:
            continue
        ideal = truth * (1 + math.cos(math.radians(angle))) / 2
        estimate = value * 2 ** -error_stops(calibration.angle_response, "dome", angle)
        u = absolute_u_rel(calibration, index, m.u_rel, raw)
        u = math.hypot(u, float(np.interp(abs(angle), np.arange(len(u_rel_angle)) * 5.0, u_rel_angle)))
        level = value / calibration.ranges[index].full_scale_lx
        level = 0.5 * (m.peak_lx or 0) / calibration.ranges[index].full_scale_lx if kind == "flash" else level
        u_oracle = oracle.u_rel(index, level, angle, sensor.noise_rel(m))
        # The claim is about light as it is read, before any correction for its angle.
        inside = claimed(claim, kind, index, m.peak_lx if kind == "flash" else value, angle)
        off = math.log2(1 + reference.scale_error)
        found.append(Checked(math.log2(estimate / ideal), u * STOPS, u_oracle * STOPS, kind, angle, inside, off))
    return found


def claimed(claim: dict[str, Any], kind: str, index: int, light: float | None, angle_deg: float) -> bool:
    """Whether a claim takes a reading in."""
    span = claim["flash_peak_lx" if kind == "flash" else "steady_lx"][index]
    return bool(span and light and span[0] <= light <= span[1] and abs(angle_deg) <= claim["angle_deg"])


class Oracle:
    """Gaussian conditioning with everything known but the draws.

    Unknowns: ln gain of both ranges, bend of both, what all pairs share (the reference's scale error, where the dome's plane was),
    two angular terms.
    """

    PRIOR = (0.2, 0.2, 0.04 / math.sqrt(12), 0.04 / math.sqrt(12), math.hypot(U_REFERENCE_REL, U_PLANE_M), 0.1, 0.03)

    def __init__(self, sensor: SimulatedSensor, walk: ScaleWalk, turned: AngleWalk) -> None:
        rows, variances = [], []
        noise = sensor.noise_rel
        u_reading = math.hypot(resolution_u_rel(0.1), 0.005 / STOPS)
        for taken in walk.group("pair"):
            m = taken.measurement
            index, scale = m.range_index, walk.calibration.ranges[m.range_index].full_scale_lx
            level = 0.5 * (m.peak_lx or 0) / scale if m.kind == "flash" else (m.illuminance_lx or 0) / scale
            row = np.zeros(7)
            row[index], row[2 + index], row[4] = 1, -level, -1
            rows.append(row)
            variances.append(u_reading**2 + AGAIN_SPREAD**2 + noise(m) ** 2 + (2 * POP_SPREAD**2 if m.kind == "flash" else 0))
        sides = [[t.measurement for t in walk.of(f"overlap-0-{i}")] for i in (0, 1)]
        levels = [np.mean([0.5 * (m.peak_lx or 0) / FULL_SCALE_LX[m.range_index] for m in side]) for side in sides]
        rows.append(np.array([1, -1, -levels[0], levels[1], 0, 0, 0], dtype=float))
        # Means of pops of one lamp.
        variances.append(sum(np.mean([noise(m) ** 2 + POP_SPREAD**2 for m in side]) / len(side) for side in sides))
        self._turntable(sensor, turned, rows, variances)
        design, weight = np.array(rows), 1 / np.array(variances)
        information = np.diag(1 / np.array(self.PRIOR) ** 2) + (design.T * weight) @ design
        self.covariance = np.linalg.inv(information)

    def _turntable(self, sensor: SimulatedSensor, turned: AngleWalk, rows: list[np.ndarray], variances: list[float]) -> None:
        first = turned.taken[0].measurement
        for taken in turned.taken[1:]:
            s = 1 - math.cos(math.radians(taken.value or 0))
            slope = math.tan(math.radians(abs(taken.value or 0)) / 2)
            rows.append(np.array([0, 0, 0, 0, 0, s, s * s], dtype=float))
            own, axis = sensor.noise_rel(taken.measurement), sensor.noise_rel(first)
            noise = own**2 + axis**2 / len(turned.taken) + POP_SPREAD**2
            variances.append(noise + (math.radians(PROTRACTOR_DEG) * slope) ** 2)

    def u_rel(self, index: int, level: float, angle_deg: float, noise_rel: float) -> float:
        """Posterior standard deviation of ln(light) for one reading."""
        s = 1 - math.cos(math.radians(angle_deg))
        row = np.zeros(7)
        # The bend acts against the pairs' own mean level: only what differs from there is uncertain.
        row[index], row[2 + index], row[5], row[6] = 1, -level, s, s * s
        return math.sqrt(float(row @ self.covariance @ row) + noise_rel**2)


def coverage(sensors: int, seed: int, world: World = WORLDS[0]) -> Trial:
    """Calibrate so many sensors and let each take its test readings."""
    trial, refused = Trial([], [], 0, [], []), 0
    for i in range(sensors):
        rng = np.random.default_rng([seed, i])
        build, reference = draw(rng)
        if world.camera:
            reference = Reference(float(rng.normal(0, camera.U_SCALE_REL)), 0.0, camera.U_READING_REL * STOPS)
        sensor = SimulatedSensor(build, rng)
        person = Photographer(sensor, rng, reference)
        try:
            calibration, walk, turned = calibrated(sensor, person, world)
        except CalibrationError:
            refused += 1
            continue
        trial.sensors.append(check_readings(sensor, calibration, Oracle(sensor, walk, turned), reference))
        trial.claims.append(calibration.details["claim"])
        trial.measured.append(sum(t.task.kind != TYPED for t in walk.taken))
        trial.swaps.append(person.swaps)
    return trial._replace(refused=refused)


BAD_BUILDS: dict[str, tuple[dict[str, Any], set[str]]] = {
    "leaky dome": ({"rim_leak": 0.9}, {"leaky dome"}),
    "clipped range": ({"top": 0.62}, {"range clips early"}),
    "swapped resistors": ({"swapped": True}, {"swapped resistors"}),
    "mains hum": ({"hum": 0.12}, {"mains hum"}),
    "disk mounted as dome": ({"receptor": "flat"}, {"flat in place of dome"}),
    "dome too shallow": ({"side": (-0.5, 0.0)}, {"wrong angle response"}),
    "diode the wrong way round": ({"dark": (0.07, 0.08)}, {"dark offset"}),
    "zero not lifted": ({"dark": (0.001, 0.001)}, {"zero not lifted"}),
    "slow amplifier": ({"slow_s": 1.2e-3}, {"slow amplifier"}),
    "loose contact": ({"scatter": 0.09}, {"loose contact"}),
    "wrong resistor": ({"gain": (0.62, 1.0)}, {"wrong resistor"}),
    "diode against a voltage": ({"diode_log": 1.2}, {"not linear"}),
    "dome plane off its mark": ({"plane_m": 0.06}, {"dome plane"}),
    "housing leaks": ({"housing_leak": 0.02}, {"light leak"}),
}
"""Kind -> what is wrong with it, and the names that are right for it."""


def verified(build: Build, rng: np.random.Generator) -> tuple[set[str], bool]:
    """Verify a newly built, not yet calibrated sensor; return the causes named and whether a row failed."""
    sensor = SimulatedSensor(build, rng)
    walk = AcceptanceWalk(sensor.identity, sensor.calibration, nominal_lx=FULL_SCALE_LX)
    try:
        Photographer(sensor, rng).walk(walk)
    except CannotDo:
        pass  # she stops there and asks what was found so far
    findings = judge(walk)
    return {f.name for f in name_faults(findings)}, any(r.outcome == "fail" for r in findings.rows)


def bad_builds(per_kind: int, sound: int, seed: int) -> dict[str, float]:
    """Share of each kind of bad build that is named rightly, and of ``sound`` sound ones that are called bad."""
    shares = {}
    for k, (kind, (fault, names)) in enumerate(BAD_BUILDS.items()):
        hits = 0
        for i in range(per_kind):
            rng = np.random.default_rng([seed, k, i])
            named, _ = verified(draw(rng)[0]._replace(**fault), rng)
            hits += bool(named & names)
        shares[kind] = hits / per_kind
    false = 0
    for i in range(sound):
        rng = np.random.default_rng([seed, 99, i])
        named, failed = verified(draw(rng)[0], rng)
        false += bool(named) or failed
    shares["sound build called bad"] = false / sound
    return shares


Row = tuple[str, float, str, bool]


def interval_rows(found: Sequence[Checked], where: str) -> list[Row]:
    """How good the stated intervals of some readings are."""
    errors, u, oracle = (np.array(c) for c in zip(*((abs(c.error_stops), c.u_stops, c.oracle_u_stops) for c in found), strict=True))
    cover, width = float(np.mean(errors <= 2 * u)), float(np.mean(u) / np.mean(oracle))
    return [
        (f"coverage of k=2, {where}", cover, ">= 0.93", cover >= 0.93),
        (f"oracle's coverage, {where}", float(np.mean(errors <= 2 * oracle)), "", True),
        (f"mean width / oracle's, {where}", width, "<= 1.5", width <= 1.5),
    ]


def part_rows(found: Sequence[Checked]) -> list[Row]:
    """Coverage of the parts, so that none hides behind another."""
    parts = {
        "flash": [c for c in found if c.kind == "flash"],
        "steady": [c for c in found if c.kind == "steady"],
        "light beyond 30 degrees": [c for c in found if abs(c.angle_deg) > 30],
    }
    covered = {name: [abs(c.error_stops) <= 2 * c.u_stops for c in part] for name, part in parts.items()}
    return [(f"coverage, {name}", float(np.mean(part)), "", True) for name, part in covered.items()]


def claim_rows(trial: Trial) -> list[Row]:
    """How much is claimed, and how often a claim is broken: by the sensor, and with the reference's own error."""
    inside = [[c for c in one if c.claimed] for one in trial.sensors]
    everything = [c for one in inside for c in one]
    beyond = [c for c in everything if abs(c.error_stops) > CLAIM_STOPS]
    broken = sum(any(abs(c.error_stops) > CLAIM_STOPS for c in one) for one in inside)
    # What no calibration can undo: the reference's own error, and one that knows all the distributions.
    bound = float(np.mean([math.erfc(CLAIM_STOPS / c.oracle_u_stops / math.sqrt(2)) for c in everything]))
    hopeless = sum(abs(one[0].reference_stops) > CLAIM_STOPS for one in trial.sensors if one)
    own = [c.error_stops - c.reference_stops for c in everything]
    share = len(beyond) / len(everything)
    by_itself = float(sum(abs(o) > CLAIM_STOPS for o in own))
    rows: list[Row] = [
        ("readings inside the claim", float(len(everything)), "", True),
        ("beyond 0.1 stop: readings", float(len(beyond)), "", True),
        ("beyond 0.1 stop: share", share, "<= 0.01", share <= 0.01),
        ("  an oracle's share, expected", bound, "", True),
        ("beyond 0.1 stop: sensors", float(broken), "", True),
        ("  whose reference alone is beyond", float(hopeless), "", True),
        ("beyond without the reference's part", by_itself, "0", by_itself == 0),
        ("own error, standard deviation (stop)", float(np.std(own)), "", True),
        ("largest own error (stop)", max(abs(o) for o in own), "", True),
        ("sensors that claim f-numbers", sum(c["against"] == "truth" for c in trial.claims) / len(trial.claims), "", True),
    ]
    for kind in ("flash", "steady"):
        widths = [stops_of(c, kind) for c in trial.claims]
        rows.append((f"claimed {kind}, median (stops)", float(np.median(widths)), ">= 5", float(np.median(widths)) >= 5))
        rows.append((f"claimed {kind}, 5th percentile (stops)", float(np.quantile(widths, 0.05)), "", True))
    angles = [c["angle_deg"] for c in trial.claims]
    rows.append(("claimed angle, median (degrees)", float(np.median(angles)), "", True))
    rows.append(("claimed angle, 5th percentile", float(np.quantile(angles, 0.05)), "", True))
    return rows


def report(trial: Trial, title: str) -> bool:
    """Print the figures of a run; return whether the goals hold."""
    found = [c for one in trial.sensors for c in one]
    print(f"{title} ({trial.refused} calibrations refused): {len(found)} readings")
    print(f"  {_effort(trial)}")
    rows = interval_rows(found, "all") + interval_rows([c for c in found if c.claimed], "claimed")
    for name, value, goal, ok in rows + part_rows(found) + claim_rows(trial):
        shown = f"{value:9.4f}" if value < 100 else f"{value:9.0f}"
        print(f"  {name:<40} {shown}  {goal:<9} {('ok' if ok else 'SHORT') if goal else ''}")
    return all(ok for *_, ok in rows + claim_rows(trial))


def in_short(trial: Trial, title: str) -> bool:
    """Print a run in two lines; return whether its intervals cover and its claims hold."""
    found = [c for one in trial.sensors for c in one]
    inside = [c for c in found if c.claimed]
    cover = float(np.mean([abs(c.error_stops) <= 2 * c.u_stops for c in found]))
    # What a claim is about: f-numbers, or f-numbers as this reference reads them.
    against = [c["against"] == "truth" for c in trial.claims]
    pairs = ((c, a) for one, a in zip(trial.sensors, against, strict=True) for c in one if c.claimed)
    off = [abs(c.error_stops - (0.0 if a else c.reference_stops)) for c, a in pairs]
    widths = [float(np.median([stops_of(c, kind) for c in trial.claims])) for kind in ("flash", "steady")]
    beyond = float(np.mean([o > CLAIM_STOPS for o in off])) if off else 0.0
    print(f"  {title}: {len(trial.sensors)} sensors, {trial.refused} refused, {_effort(trial)}")
    print(f"    covered {cover:.1%} of {len(found)}; claimed {len(inside)}, beyond 0.1 stop {beyond:.2%}; "
          f"claims {widths[0]:.1f} stops of flash, {widths[1]:.1f} of steady light")  # fmt: skip
    return cover >= 0.93 and beyond <= 0.01 and widths[0] >= 5


def _effort(trial: Trial) -> str:
    median, swaps = int(np.median(trial.measured)), int(np.median(trial.swaps))
    return (
        f"{median} measurements (at most {max(trial.measured)}), the meter changes hands {swaps} times (at most {max(trial.swaps)})"
    )


def main(sensors: int = 2000, seed: int = 20) -> bool:
    """Run all and print a table."""
    good = report(coverage(sensors, seed), f"{sensors} simulated sensors, seed {seed}")
    print("with what people own:")
    for world in WORLDS[1:]:
        good &= in_short(coverage(max(20, sensors // 5), seed + 1, world), world.name)
    sound = max(40, sensors // 5)
    shares = bad_builds(max(10, sensors // 100), sound, seed)
    print(f"bad builds named rightly by verify, and {sound} sound ones:")
    caught = 0
    for kind, share in shares.items():
        if kind == "sound build called bad":
            print(f"  {kind:<36} {share:7.1%}  <= 2 %    {'ok' if share <= 0.02 else 'SHORT'}")
            good &= share <= 0.02
            continue
        caught += share >= 0.9
        print(f"  {kind:<36} {share:7.1%}")
    print(f"  kinds named in 90 % or more: {caught} of {len(BAD_BUILDS)} (goal 9 in 10)")
    return good and caught >= 0.9 * len(BAD_BUILDS)


if __name__ == "__main__":
    arguments = [int(a) for a in sys.argv[1:3]]
    sys.exit(0 if main(*arguments) else 1)
