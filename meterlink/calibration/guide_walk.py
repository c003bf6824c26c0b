"""The walk of ``meterlink calibrate --guide-number``: a known flash at known distances in place of a reference."""

from __future__ import annotations

from collections.abc import Sequence

from meterlink.calibration.procedure import Procedure, Taken, Task
from meterlink.calibration.scale_walk import ScaleWalk
from meterlink.errors import CalibrationError, UsageError
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
                light=self._light_at(d),
            )
            for i, d in enumerate(self.distances_m)
        ]  # fmt: skip

    def _light_at(self, distance_m: float) -> float:
        """What the known flash gives at a distance, lx·s: N = GN / d at ISO 100 (ISO 1230's product)."""
        return luminous_exposure(self.guide_number_m / distance_m, 100.0, self.calibration.constant)

    def stood(self, distances_m: Sequence[float]) -> None:
        """The flash stood otherwise than was said, in metres, in the order of its steps: its pops are kept as of there.

        Raises UsageError: so many distances are not its steps.
        """
        if len(distances_m) != len(self.distances_m):
            raise UsageError("the flash stood at {count} distances: type each, in their order", count=len(self.distances_m))
        self.distances_m = tuple(distances_m)
        self.replan()
        now = {task.name: task for task in self.tasks if task.name.startswith("pair-")}
        self.taken = [
            taken._replace(task=task, value=task.value) if (task := now.get(taken.task.name)) else taken for taken in self.taken
        ]

    _off_level = Procedure._off_level
    """Its distances are given: how far each pop fills the range is not to be set."""

    def _ranges_wanting(self) -> tuple[int, ...] | None:
        return ()

    def light_of(self, taken: Taken) -> float | None:
        """What the known flash gives at its distance, which may have been put right before the walk was stopped."""
        return self._light_at(taken.value) if taken.value else None
