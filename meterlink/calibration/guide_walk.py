"""The walk of ``meterlink calibrate --guide-number``: a known flash at known distances in place of a reference."""

from __future__ import annotations

from collections.abc import Sequence

from meterlink.calibration.procedure import Procedure, Taken, Task
from meterlink.calibration.scale_walk import ScaleWalk
from meterlink.errors import CalibrationError
from meterlink.photometry.exposure import luminous_exposure
from meterlink.records import Calibration, Identity
from meterlink.words.told import told


class GuideWalk(ScaleWalk):
    """Dark, overlap, and a known flash at two distances."""

    def __init__(
        self, identity: Identity, calibration: Calibration, guide_number_m: float, distances_m: Sequence[float], range_index: int
    ) -> None:
        if not identity.flash:
            raise CalibrationError("a guide number is one of flash, and this sensor cannot see a pop: use a reference")
        self.guide_number_m, self.distances_m, self._range = guide_number_m, tuple(distances_m), range_index
        super().__init__(identity, calibration)

    def _pair_tasks(self) -> list[Task]:
        return [
            Task(
                f"pair-flash-{self._range}-{i}",
                told("guide_step", far=d),
                told("do_guide", far=d),
                "flash", 2, self._range, value=d,
                # N = GN / d at ISO 100 (ISO 1230's product).
                light=luminous_exposure(self.guide_number_m / d, 100.0, self.calibration.constant),
            )
            for i, d in enumerate(self.distances_m)
        ]  # fmt: skip

    _off_level = Procedure._off_level
    """Its distances are given: how far each pop fills the range is not to be set."""

    def _ranges_wanting(self) -> tuple[int, ...] | None:
        return ()

    def light_of(self, taken: Taken) -> float | None:
        """What the known flash gives at its distance."""
        return taken.task.light
