"""Sets of the blind suite's worlds for the trust benchmark, and what the product says of them through its front door.

The sets are ``tests/blind``'s: own optics, own distributions, nothing of the package.  Here each is read without bytes: the light
of each pop is handed over as the sensor's measurement, so that thousands of sets can be looked at; ``python -m benchmarks blind``
takes some hundreds the whole way, from the converter's codes to the table.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, NamedTuple

import numpy as np

import meterlink
from meterlink.records import Calibration, Measurement, RangeScale, new_id
from tests.blind.drive import COMPLAINTS
from tests.blind.studio import FACE, FRONTAL, REACHES, Lamp, alone, draw_set, together

SENSOR = "b11d"
U_NOISE = 0.003
"""Relative noise that a pop's figures carry with them: a real one's, of the simulated chip."""


class Case(NamedTuple):
    """One set with its pops, and the same with one of them taken held off."""

    lamps: list[Lamp]
    read_lxs: list[float]
    """Each light alone, nothing declared."""
    together_lxs: float
    wrong: int
    wrong_lxs: float
    """What light ``wrong`` reads when its dome is held off 10-40 cm, at most half its distance."""
    cost_stops: float
    level_stops: float
    """Stops of that light under the key."""

    @property
    def front(self) -> list[int]:
        """Lights on the face: those that fire together."""
        return [i for i, one in enumerate(self.lamps) if one.role in FRONTAL]

    def misplaced(self) -> list[float]:
        """The readings with the wrong one among them."""
        return [self.wrong_lxs if i == self.wrong else value for i, value in enumerate(self.read_lxs)]


def draw(rng: np.random.Generator, world: str, reach: str, said: bool) -> Case:
    """Draw a set; the pop of all lights touches the face where that is said, else it is as loose as the others."""
    lamps = draw_set(rng, world, "dome")
    far = REACHES[reach]
    read = [alone(rng, one, rng.uniform(0, far), "dome") for one in lamps]
    front = [i for i, one in enumerate(lamps) if one.role in FRONTAL]
    total = together(rng, [lamps[i] for i in front], rng.uniform(0, min(far, 0.02) if said else far), "dome")
    wrong = int(rng.choice(front))
    one = lamps[wrong]
    held = rng.uniform(0.1, max(0.1, min(0.4, one.stand.distance_m / 2)))
    toward = one.stand.toward
    cost = float(np.log2(one.at(toward * held, toward, "dome") / one.at(FACE, toward, "dome")))
    level = float(np.log2(lamps[0].gives_lxs / one.gives_lxs))
    return Case(lamps, read, total, wrong, alone(rng, one, held, "dome"), cost, level)


@contextmanager
def fresh_library() -> Iterator[tuple[meterlink.Library, str]]:
    """A library with all defaults and one calibrated sensor; with the calibration's id."""
    with tempfile.TemporaryDirectory() as folder, meterlink.open(f"{folder}/trust.sqlite") as library:
        calibration = Calibration(new_id(), SENSOR, 0.0, 330.0, ranges=(RangeScale(2e6), RangeScale(2e5)), method="reference")
        library.store.add_calibration(calibration)
        yield library, calibration.id


def front_door(
    library: meterlink.Library, calibration_id: str, case: Case, read_lxs: Sequence[float], name: str, said: bool,
    every: bool = False,
) -> list[str]:  # fmt: skip
    """Build the set in a library with every default, meter it, and return whom the checks speak against, most probable first.

    ``said``: the pop of all lights is declared touching; ``every``: so is each light alone.
    The first name is the alarm's (``all``: the pop of all lights itself); none when nothing is wrong.
    """
    setup = library.new_setup(name, iso=100, shutter_s=1 / 125)
    for one in case.lamps:
        source = one.stand.source
        shape: Any = meterlink.Disk(source.width_m)
        if source.shape == "rectangle":
            shape = meterlink.Rectangle(source.width_m, source.height_m)
        setup.add_light(one.name, role=one.role, source=shape, point=one.point, **one.typed)
    session = setup.session
    lights = session.lights()
    how = {"held_off_m": 0.0} if said else {}
    alone_how = {"held_off_m": 0.0} if every else {}
    session.begin([*(session.request(one, **alone_how) for one in lights), session.request_together(**how)])
    for i, value in enumerate([*read_lxs, case.together_lxs]):
        at_s = 3.0 * (i + 1)
        pop = Measurement("flash", at_s, SENSOR, calibration_id, exposure_lxs=value, peak_lx=2000 * value, u_rel=U_NOISE)
        taken = session.take(pop)
        if taken.kind != "logged":
            raise AssertionError(taken.message)
    return [one.light or "all" for one in setup.checks() if one.kind in COMPLAINTS]
