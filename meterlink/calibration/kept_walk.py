"""A walk that was stopped, as plain data, and the same walk again from it.

Kept is what was taken, in order, and what was left out; the steps follow from that again.  What no longer fits (another version
asks for other steps, the calibration in force has changed) is not taken over, and everything after it neither.
"""

from __future__ import annotations

from math import isfinite
from typing import Any

from meterlink.calibration.procedure import TYPED, Procedure
from meterlink.errors import MeterlinkError
from meterlink.records import Measurement

KEEPS_S = 7 * 86_400.0
"""Older ones are not gone on with: lamps, room and the sensor's dark are others by then."""
_FIELDS = (
    "kind", "at_s", "sensor_id", "calibration_id", "exposure_lxs", "illuminance_lx", "u_rel", "peak_lx", "t05_s", "range_index",
    "clipped", "too_dim", "modulation",
)  # fmt: skip


def as_data(walk: Procedure, at_s: float) -> dict[str, Any]:
    """Return a walk as what JSON can hold; ``at_s`` is now, in seconds since 1970."""
    taken = [
        {"task": t.task.name, "value": t.value, "measurement": {f: getattr(t.measurement, f) for f in _FIELDS}} for t in walk.taken
    ]
    return {"at_s": at_s, "calibration_id": walk.calibration.id, "taken": taken, "skipped": sorted(walk.skipped)}


def go_on(walk: Procedure, kept: Any, now_s: float) -> int:
    """Give a walk that has just begun what was kept of another; return how many steps were taken over (0: none fits).

    What is kept may be anything: it is believed only where the walk itself takes it.
    """
    if not isinstance(kept, dict) or kept.get("calibration_id") != walk.calibration.id:
        return 0
    at_s, rows, skipped = kept.get("at_s"), kept.get("taken"), kept.get("skipped")
    if not isinstance(at_s, int | float) or not 0 <= now_s - at_s <= KEEPS_S or not isinstance(rows, list):
        return 0
    left = [s for s in skipped if isinstance(s, str)] if isinstance(skipped, list) else []
    for row in rows:
        try:
            _leave_out(walk, left, row["task"])
            if not _taken_over(walk, row):
                break
        except (MeterlinkError, KeyError, TypeError, ValueError, AttributeError):
            break
    else:
        _leave_out(walk, left)
    return len(walk.taken)


def _leave_out(walk: Procedure, left: list[str], but: str = "") -> None:
    while (task := walk.task) is not None and task.name in left and task.name != but:
        if task.optional:
            walk.skip()
        else:  # the walk itself had left it out
            walk.skipped.add(task.name)
            walk.replan()


def _taken_over(walk: Procedure, row: dict[str, Any]) -> bool:
    task, value, before = walk.task, row["value"], len(walk.taken)
    if task is None or task.name != row["task"] or not _number_or_none(value):
        return False
    if task.kind == TYPED:
        walk.read(value)
    else:
        fields = row["measurement"]
        if not all(isinstance(fields[f], str | bool) or _number_or_none(fields[f]) for f in _FIELDS):
            return False
        walk.take(Measurement(**{f: fields[f] for f in _FIELDS}), value)
    return len(walk.taken) > before


def _number_or_none(value: Any) -> bool:
    return value is None or (isinstance(value, int | float) and isfinite(value))
