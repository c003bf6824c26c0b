"""Everything that the checks look for, and what they have to say of a set."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from meterlink.checks import colour, disagreement, evenness, freezing, readings, room_light, shutter
from meterlink.checks.findings import FINE, Finding
from meterlink.judging.judged_set import JudgedSet

FINDERS: list[Callable[[JudgedSet], Iterable[Finding]]] = [
    readings.retakes, readings.not_current, disagreement.disagreement, disagreement.predicted_apart, disagreement.sum_hint,
    readings.unknown_places, readings.outliers, readings.near_limits, readings.peaks_beyond_range, readings.damaged_notes,
    colour.colour_findings, evenness.head_to_toe, evenness.backdrop, freezing.freeze_findings, room_light.room_light,
    shutter.shutter_losses,
]  # fmt: skip
"""Others may add theirs."""


def findings(view: JudgedSet) -> list[Finding]:
    """Return all findings of a judged set, worst first."""
    return looked_at(view)[0]


def looked_at(view: JudgedSet) -> tuple[list[Finding], list[Finding]]:
    """Return the findings of a judged set, worst first, then in the set's order; and the answers: what was looked at and is well,
    each with its number, since silence is no answer."""
    order = {state.light.name: i for i, state in enumerate(view.lights)}
    found = [finding for finder in FINDERS for finding in finder(view)]
    found.sort(key=lambda one: (-one.rank, one.kind, order.get(one.light, -1)))
    return [one for one in found if one.rank > FINE], [one for one in found if one.rank <= FINE]
