"""From physics to table: area lights -> light at the dome -> voltage -> real firmware -> pty -> command line -> ratios.

Sets of area sources of known luminance are integrated by scipy (its own quadrature, no formula of ours); what a dome 0 to
30 cm off the face receives goes as light into the simulated chip that runs the real firmware, and the real command line
meters it through a pty.  The ratio table is compared with the known truth at the face.
"""

from __future__ import annotations

import functools
import io
import json
import math
import random
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from pathlib import Path
from typing import NamedTuple

import pytest
from scipy.integrate import dblquad

from hardware_notes.firmware.bench.simulated_chip import SimulatedChip, why_not
from meterlink.cli.main import main
from meterlink.library.store import Library
from meterlink.metering import driver
from meterlink.sensor.measuring import sensor
from tests.turning import metered_here, turning

needs_chip = [pytest.mark.skipif(why_not() is not None, reason=str(why_not())), pytest.mark.timeout(600)]
HELD_OFF_M = (0.0, 0.1, 0.2, 0.3)
SETS = 8
CONSTANT = 330.0
AFTER_MS = 120.0
"""From being asked to the pop, of the chip's time: no hand is quicker, and the sensor has then been told its range."""


class AreaLight(NamedTuple):
    """A light of a simulated set: a source of known luminance with a pulse."""

    name: str
    role: str
    shape: str
    width_m: float
    height_m: float
    distance_m: float
    face_exposure_lxs: float
    decay_us: float
    hot_spot: float
    """Luminance in the middle over that at the rim, minus 1; 0 is uniform."""
    spot_m: float
    azimuth_deg: float

    @functools.cache  # noqa: B019
    def received(self, distance_m: float) -> float:
        """What a dome facing the middle receives from unit luminance at ``distance_m`` on the axis."""

        def luminance(x: float, y: float) -> float:
            return 1.0 + self.hot_spot * math.exp(-(x * x + y * y) / (2 * self.spot_m**2))

        def part(y: float, x: float) -> float:
            r2 = x * x + y * y + distance_m**2
            cosine = distance_m / math.sqrt(r2)
            return luminance(x, y) * cosine / r2 * 0.5 * (1.0 + cosine)

        if self.shape == "disk":
            radius = self.width_m / 2
            edge = lambda x: math.sqrt(max(radius**2 - x * x, 0.0))  # noqa: E731
            value, _ = dblquad(part, -radius, radius, lambda x: -edge(x), edge, epsabs=1e-9)
        else:
            a, b = self.width_m / 2, self.height_m / 2
            value, _ = dblquad(part, -a, a, -b, b, epsabs=1e-9)
        return float(value)

    def at(self, held_off_m: float) -> float:
        """Luminous exposure at the dome held off toward the light."""
        return self.face_exposure_lxs * self.received(self.distance_m - held_off_m) / self.received(self.distance_m)


def make_set(seed: int, *, hot: bool) -> list[AreaLight]:
    """Draw a set: a key, a fill and one more, sizes 20 to 120 cm, 0.8 to 2 m, levels as photographers set them."""
    chance = random.Random(seed)
    lights = []
    levels = (("KEY", "key", 0.0), ("FILL", "fill", chance.uniform(-3, -1)), ("SIDE", "other", chance.uniform(-2, 0)))
    for name, role, below in levels:
        shape = chance.choice(("disk", "rectangle"))
        width = chance.uniform(0.2, 1.2)
        lights.append(
            AreaLight(
                name,
                role,
                shape,
                width,
                width * chance.uniform(0.5, 1.5),
                chance.uniform(0.8, 2.0),
                300.0 * 2.0**below,
                chance.uniform(300, 900),
                chance.uniform(0.5, 3.0) if hot else 0.0,
                width / 4,
                chance.uniform(-60, 60),
            )
        )
    return lights


def run(library: Path, *arguments: str) -> str:
    """Run the command line to its end and return what it printed."""
    out, error = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(error):
        code = main(["--library", str(library), *arguments])
    assert code == 0, error.getvalue()
    return out.getvalue()


def build_set(library: Path, lights: list[AreaLight], name: str) -> None:
    """Tell the command line about the set."""
    run(library, "setup", "new", name, "--iso", "100", "--shutter", "1/125")
    for one in lights:
        size = ["--disk", f"{one.width_m * 1000:.3f}mm"]
        if one.shape == "rectangle":
            size = ["--rectangle", f"{one.width_m * 1000:.3f}mm x {one.height_m * 1000:.3f}mm"]
        run(
            library, "light", "add", one.name, "--role", one.role, *size, "--distance", f"{one.distance_m * 1000:.3f}mm",
            "--distance-u", "5mm", "--azimuth", f"{one.azimuth_deg:.1f}", "--elevation", "0",
        )  # fmt: skip


class Bench:
    """A simulated chip whose time passes while the command line meters, and a way to fire when it waits for a light."""

    def __init__(self, chip: SimulatedChip) -> None:
        self.chip = chip
        self._lock = threading.Lock()

    @contextmanager
    def turning(self) -> Iterator[None]:
        """Let time pass, some three times as fast as it does."""
        with turning(lambda: self.chip.step(20)) as self._lock:
            yield

    def fire(self, exposure_lxs: float, decay_us: float) -> float:
        """Fire a flash of this exposure; return the exposure that the bench says it gave."""
        with self._lock:
            unit = _unit_exposure(decay_us)
            return self.chip.pop(peak_lx=exposure_lxs / unit, decay_us=decay_us, rise_us=30.0, at_ms=AFTER_MS)


def _unit_exposure(decay_us: float, rise_us: float = 30.0) -> float:
    """lx·s of a double exponential of 1 lx peak, from its closed form."""
    d, r = decay_us * 1e-6, rise_us * 1e-6
    t = math.log(d / r) * d * r / (d - r)
    return (d - r) / (math.exp(-t / d) - math.exp(-t / r))


FASTER = 3.0
"""So much faster than ours the chip's time runs on a quiet machine."""


@pytest.fixture(scope="module")
def bench() -> Iterator[Bench]:
    """One chip for all sets, in paused mode, turned by a thread while a walk goes on.

    What the program waits for after each pop, a second flash, is waited for as much shorter as the chip's time is faster.
    """
    with SimulatedChip() as chip, pytest.MonkeyPatch.context() as quick:
        quick.setattr(sensor, "SECOND_FLASH_S", sensor.SECOND_FLASH_S / FASTER)
        quick.setattr(driver, "LAST_FLASH_S", driver.LAST_FLASH_S / FASTER)
        chip.amplifier(noise=0.002, seed=7)
        chip.ambient(40.0)
        yield Bench(chip)


def meter(library: Path, bench: Bench, lights: list[AreaLight], held_off_m: list[float]) -> None:
    """Walk through the lights with the real command line, firing each when it is waited for."""
    names = [f"{one.name}@{h * 1000:.0f}mm" for one, h in zip(lights, held_off_m, strict=True)]
    arguments = ["--library", str(library), "meter", *names, "--sensor", f"serial:{bench.chip.pty_path}?baud=250000"]
    held = dict(zip((one.name for one in lights), held_off_m, strict=True))
    by_name = {one.name: one for one in lights}

    def fire(name: str) -> None:
        bench.fire(by_name[name].at(held[name]), by_name[name].decay_us)

    with bench.turning():
        metered_here(arguments, fire)


def table(library: Path) -> dict[str, dict[str, float]]:
    """The ratio table as data, by light."""
    return {row["light"]: row for row in json.loads(run(library, "ratios", "--json"))}


def prepared(tmp_path: Path) -> Path:
    """A library whose minimum gap suits pops that come as fast as the simulation runs."""
    path = tmp_path / "library.sqlite"
    with Library.open(path) as library:
        library.set_setting("min_gap_s", 0.02)
    return path


def each_set(tmp_path: Path, bench: Bench, *, hot: bool, check: Callable[[AreaLight, dict, AreaLight, dict], None]) -> None:
    """Build every set, meter it with every light at every held-off distance in turn, and check each row."""
    library = prepared(tmp_path)
    for number in range(SETS if not hot else 4):
        lights = make_set(100 * hot + number, hot=hot)
        build_set(library, lights, f"set {number}")
        for turn in range(len(HELD_OFF_M)):
            held = [HELD_OFF_M[(turn + i) % len(HELD_OFF_M)] for i in range(len(lights))]
            meter(library, bench, lights, held)
            rows = table(library)
            for one in lights:
                check(one, rows[one.name], lights[0], rows["KEY"])
