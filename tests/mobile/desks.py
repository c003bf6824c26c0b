"""A desk on a library of its own, with a calibrated sensor, for tests of the states."""

from __future__ import annotations

from pathlib import Path

from meterlink.library.store import Library
from meterlink.metering.session import Outcome
from meterlink.records import Calibration, Measurement, RangeScale, new_id
from mobile.desk import Desk
from mobile.first_state import begin_set

SENSOR = "5e50"


class Metered:
    """A desk and the pops that are given to it."""

    def __init__(self, path: Path, lights: int = 4) -> None:
        self.path = path
        self.library = Library.open(path)
        self.calibration = Calibration(new_id(), SENSOR, 1.0, 330.0, ranges=(RangeScale(2e6),), method="reference")
        self.library.add_calibration(self.calibration)
        self.at_s = 0.0
        self.desk = Desk(self.library)
        if lights:
            begin_set(self.desk, lights)

    def pop(self, exposure_lxs: float, **fields: object) -> Outcome:
        """Give a pop, two seconds after the last."""
        self.at_s += 2.0
        measured = Measurement("flash", self.at_s, SENSOR, self.calibration.id, exposure_lxs=exposure_lxs)
        return self.desk.take(measured._replace(**fields))

    def id_of(self, name: str) -> str:
        """Id of a light by name."""
        return next(light.id for light in self.desk.shot.lights if light.name == name)

    def reopened(self) -> Desk:
        """What a new start of the app finds (the old desk is not closed: it was killed)."""
        return Desk(Library.open(self.path))
