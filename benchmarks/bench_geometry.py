"""Light of area sources, corrections with their uncertainty, and findings: ratios to what one would use instead.

Usage: ``python benchmarks/bench_geometry.py``.  All cases of a table run side by side in rotated rounds.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable
from math import pi, sqrt
from pathlib import Path
from typing import Any

import numpy as np
import uncertainties
from scipy.integrate import dblquad
from uncertainties import umath

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from side_by_side import Goal, print_goals, ratios

from meterlink.judging.correction import correct
from meterlink.photometry.receptors import receive
from meterlink.photometry.sources import Rectangle
from meterlink.records import Light, Placement, Reading, Settings, Setup

ROOT = Path(__file__).resolve().parent.parent
SOURCE = Rectangle(0.6, 0.9)
PLACE = (0.3, -0.2, 1.0)
NORMAL = (0.0, 0.0, -1.0)
ROUNDS = 15
SETTINGS = Settings()


def kernel(v: float, u: float) -> float:
    """What a dome receives from one element, as one would write it for scipy."""
    dx, dy, z = u - PLACE[0], v - PLACE[1], PLACE[2]
    r2 = dx * dx + dy * dy + z * z
    r = sqrt(r2)
    return (1 + z / r) / 2 * z / (r * r2)


def by_scipy() -> float:
    """scipy's adaptive quadrature to 1e-6."""
    return float(dblquad(kernel, -0.3, 0.3, -0.45, 0.45, epsabs=1e-7, epsrel=1e-6)[0])


def many(times: int, function: Callable[[], Any]) -> Callable[[], None]:
    """A case long enough to time."""

    def case() -> None:
        for _ in range(times):
            function()

    return case


def one_position() -> list[Goal]:
    """One position, accuracy 1e-6."""
    truth = by_scipy()
    assert abs(receive(SOURCE, PLACE, NORMAL) / truth - 1) < 1e-6
    found = ratios(
        {
            "closed": many(40, lambda: receive(SOURCE, PLACE, NORMAL)),
            "dblquad": many(40, by_scipy),
        },
        ROUNDS,
    )
    return [Goal("one position: dblquad / closed form", found["dblquad"] / found["closed"], ">=", 15)]


def light_of(umath_: Any, d: Any) -> Any:
    """Dome on the axis of a 0.6 by 0.9 m rectangle: (solid angle + vector) / 2, for numbers with uncertainty."""
    a, b = 0.3, 0.45
    p, q, r = (umath_.sqrt(side + d * d) for side in (a * a, b * b, a * a + b * b))
    omega = 4 * umath_.atan(a * b / (d * r))
    phi = 2 * (a / p * umath_.atan(b / p) + b / q * umath_.atan(a / q))
    return (omega + phi) / 2


def by_uncertainties() -> tuple[float, float]:
    """The same correction and its uncertainty from both distances by the ``uncertainties`` package."""
    far, held = uncertainties.ufloat(1.4, 0.042), uncertainties.ufloat(0.2, 0.02)
    near = far - held
    stops = umath.log(light_of(umath, far) / light_of(umath, near)) / 0.6931471805599453
    square = 2 * umath.log(near / far) / 0.6931471805599453
    model = abs(stops.nominal_value - square.nominal_value) / sqrt(6)
    return stops.nominal_value, sqrt(stops.std_dev**2 + model**2)


def by_uncertainties_disk() -> tuple[float, float]:
    """The same for a disk of 0.9 m."""
    far, held = uncertainties.ufloat(1.4, 0.042), uncertainties.ufloat(0.2, 0.02)
    near = far - held
    lights = []
    for d in (far, near):
        s = umath.sqrt(0.2025 + d * d)
        lights.append((2 * pi * 0.2025 / (s * (s + d)) + pi * 0.2025 / (s * s)) / 2)
    stops = umath.log(lights[0] / lights[1]) / 0.6931471805599453
    square = 2 * umath.log(near / far) / 0.6931471805599453
    model = abs(stops.nominal_value - square.nominal_value) / sqrt(6)
    return stops.nominal_value, sqrt(stops.std_dev**2 + model**2)


def corrections() -> list[Goal]:
    """A whole correction, from records to its uncertainty."""
    goals = []
    read = Reading("r", "s", "l", "p", "c", "x", 0.0, exposure_lxs=160.0, held_off_m=0.2, u_held_off_m=0.02)
    for name, shape, height, theirs in (
        ("rectangle", "rectangle", 0.9, by_uncertainties),
        ("disk", "disk", None, by_uncertainties_disk),
    ):
        width = 0.6 if shape == "rectangle" else 0.9
        place = Placement("p", "l", 0.0, shape, width, height, 1.4, 0.042)
        ours = correct(read, place, SETTINGS)
        stops, u = theirs()
        assert abs((ours.stops or 0.0) - stops) < 1e-12, (ours, stops)
        assert abs(ours.u_stops / u - 1) < 1e-12, (ours, u)
        found = ratios({"ours": many(60, lambda: correct(read, place, SETTINGS)), "theirs": many(60, theirs)}, ROUNDS)  # noqa: B023
        goals.append(Goal(f"correction with uncertainty, {name}: uncertainties / ours", found["theirs"], ">=", 12))
    return goals


def records_of(count: int) -> tuple[list[Light], list[Placement], list[Reading]]:
    """A set of ``count`` lights as one might build it (1 to 3.9 m), a right reading each, and all together once."""
    lights, placements, readings, total = [], [], [], 0.0
    for i in range(count):
        light_id, role, shape = f"{i:032x}", "key" if i == 0 else "other", ("disk", "rectangle")[i % 2]
        azimuth = -80.0 + 160.0 * i / count
        place = Placement(f"{i + 100:032x}", light_id, 0.0, shape, 0.6, 0.9, 1.0 + 0.1 * i, None, azimuth, 20.0)
        value = 100.0 / (1 + i / 4)
        # The common pop is the true sum as the camera-facing dome sees it: a clean set, nothing to suspect.
        total += value * (1 + np.cos(np.radians(azimuth)) * np.cos(np.radians(20.0))) / 2
        light = Light(light_id, f"{999:032x}", f"L{i}", role, order=i)
        lights.append(light)
        placements.append(place)
        readings.append(reading(f"{i + 200:032x}", light_id, place.id, exposure_lxs=value, held_off_m=0.0))
    lit = tuple(one.id for one in lights)
    together = reading(f"{900:032x}", None, None, exposure_lxs=float(total), purpose="together", aim="camera", lit=lit)
    return lights, placements, [*readings, together]


def reading(reading_id: str, light_id: str | None, placement_id: str | None, **fields: Any) -> Reading:
    """A reading of the benchmark's set."""
    return Reading(reading_id, f"{999:032x}", light_id, placement_id, f"{998:032x}", "bench", 10.0, **fields)


def checks_in_process() -> list[Goal]:
    """What the findings cost beside the table, functions only."""
    from meterlink.checks.finders import findings
    from meterlink.judging.judge import judge_set
    from meterlink.tables.ratios import ratio_table

    lights, placements, readings = records_of(30)
    setup = Setup(f"{999:032x}", "bench", 0.0)
    by_light = {one.light_id: one for one in placements}

    def view() -> Any:
        return judge_set(setup, lights, by_light, readings, {}, SETTINGS)

    found = ratios({"ratios": lambda: ratio_table(view()), "checks": lambda: findings(view())}, ROUNDS)
    return [Goal("30 lights, functions alone: checks / ratios (no goal)", found["checks"], ">=", 0)]


def checks_as_command() -> list[Goal]:
    """What ``meterlink checks`` takes beside ``meterlink ratios``: whole processes on one library of 30 lights."""
    from meterlink.library import Library
    from meterlink.records import Calibration

    lights, placements, readings = records_of(30)
    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder) / "bench.sqlite")
        with Library.open(path) as library:
            library.add_setup(Setup(f"{999:032x}", "bench", 0.0))
            library.add_calibration(Calibration(f"{998:032x}", "bench", 0.0, 330.0))
            for light, place, one in zip(lights, placements, readings, strict=False):
                library.add_light(light)
                library.add_placement(place)
                library.add_reading(one)
            library.add_reading(readings[-1])
            library.use_setup(f"{999:032x}")
        environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
        environment["METERLINK_LIBRARY"] = path

        def command(verb: str) -> Callable[[], Any]:
            words = [sys.executable, "-m", "meterlink", verb, "--json"]
            return lambda: subprocess.run(words, env=environment, cwd=ROOT, check=True, capture_output=True)

        command("checks")()
        found = ratios({"ratios": command("ratios"), "checks": command("checks")}, ROUNDS)
    return [Goal("30 lights, whole commands: checks / ratios", found["checks"], "<=", 3)]


def main() -> None:
    """Print all tables."""
    goals = one_position() + corrections() + checks_in_process() + checks_as_command()
    print_goals("geometry", goals)


if __name__ == "__main__":
    main()
