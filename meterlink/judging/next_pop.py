"""The one extra pop that would tell most about which reading is wrong.

Candidates are a suspect alone once more, all but one suspect, and all together once more.  Each is scored by the mutual
information between its outcome and the answer, under the posterior of ``evidence.weigh_ways``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import exp, log2, pi, sqrt
from typing import NamedTuple

from meterlink.judging.evidence import Hypothesis, Weighing
from meterlink.judging.likelihood import Member, Together

MOST_TRIED = 5
"""Pops of no more suspects than this are compared: the next ones would tell less."""


class NextPop(NamedTuple):
    """The extra pop that would tell most."""

    kind: str
    """``again``: this light alone once more; ``without``: all but this light; ``together``: all once more."""
    light_id: str | None
    bits: float
    """Expected information about which reading is wrong."""


def next_pop(members: Sequence[Member], sums: Sequence[Together], weighing: Weighing, u_pop: float = 0.045) -> NextPop | None:
    """Return the one extra pop that is expected to tell most about which reading is wrong, None when none would.

    Candidates: a light alone once more, all but one light, and all together once more; each is scored by its mutual
    information with the answer, ``u_pop`` being the standard uncertainty of the new pop in stops.
    """
    hypotheses = [one for one in weighing.hypotheses if one.weight > 1e-3]
    weights: dict[str | None, float] = {}
    for one in hypotheses:
        weights[one.light_id] = weights.get(one.light_id, 0.0) + one.weight
    likely = {one.light_id for one in weighing.suspects[:MOST_TRIED]}
    tries: list[tuple[NextPop, Callable[[Hypothesis], float], float]] = []
    for member in members:
        if member.light_id in likely:
            u = sqrt(member.u_own**2 + u_pop**2)
            tries.append((NextPop("again", member.light_id, 0.0), _again(member.light_id), u))
    lit = set(sums[0].lit) if sums else set()
    if len(lit) > 2:
        for member in members:
            if member.light_id in lit and member.light_id in likely:
                rest = [one for one in members if one.light_id in lit and one.light_id != member.light_id]
                tries.append((NextPop("without", member.light_id, 0.0), *_without(rest, u_pop)))
    if sums and sums[0].again and weighing.suspects[:1] and weighing.suspects[0].light_id is None:
        # Fired twice it gave the same: a light that was fired once tells more, the strongest first.
        fired = [one for one in members if one.light_id in lit]
        return NextPop("again", max(fired, key=lambda one: (not one.again, one.value + one.to_camera)).light_id, 0.0)
    if sums:
        tries.append((NextPop("together", None, 0.0), lambda one: one.stops if one.light_id is None else 0.0, 1.5 * u_pop))
    best: NextPop | None = None
    for pop, outcome, u in tries:
        bits = _information(hypotheses, weights, outcome, u)
        if best is None or bits > best.bits:
            best = pop._replace(bits=bits)
    return best if best is not None and best.bits > 0.01 else None


def _again(light_id: str) -> Callable[[Hypothesis], float]:
    return lambda one: one.stops if one.light_id == light_id else 0.0


def _without(rest: Sequence[Member], u_pop: float) -> tuple[Callable[[Hypothesis], float], float]:
    """Outcome (residual of the remaining lights) under a hypothesis, and its spread."""
    parts = {one.light_id: 2.0 ** (one.value + one.to_camera) for one in rest}
    total = sum(parts.values())
    spread = u_pop**2
    for one in rest:
        share = parts[one.light_id] / total
        spread += share**2 * (one.u_own**2 + one.u_common**2 + one.u_to_camera**2)

    def outcome(one: Hypothesis) -> float:
        if one.light_id is None or one.light_id not in parts:
            return 0.0
        share = parts[one.light_id] / total
        return log2(1.0 - share + share * 2.0**-one.stops)

    return outcome, sqrt(spread)


def _information(
    hypotheses: Sequence[Hypothesis],
    weights: dict[str | None, float],
    outcome: Callable[[Hypothesis], float],
    u: float,
) -> float:
    """Mutual information in bits between the guilty light and a Gaussian outcome, on a grid of half its spread.

    Lights that the pop cannot tell apart (it would come out as expected for all of them) count as one.
    """
    outcomes: dict[str | None, list[tuple[float, float]]] = {}
    for one in hypotheses:
        outcomes.setdefault(one.light_id, []).append((outcome(one), one.weight))
    groups: list[tuple[float, list[tuple[float, float]]]] = []
    quiet = 0.0
    for light_id, some in outcomes.items():
        if all(abs(mean) < 0.05 * u for mean, _ in some):
            quiet += weights[light_id]
        else:
            groups.append((weights[light_id], some))
    if not groups:
        return 0.0
    if quiet > 0.0:
        groups.append((quiet, [(0.0, quiet)]))
    means = [mean for _, some in groups for mean, _ in some]
    low, high = min(means) - 3.5 * u, max(means) + 3.5 * u
    step = max(u / 2, (high - low) / 120)
    total = 0.0
    for g in range(int((high - low) / step) + 1):
        x = low + g * step
        parts = [sum(w * exp(-0.5 * ((x - mean) / u) ** 2) for mean, w in some) for _, some in groups]
        density = sum(parts)
        if density > 0.0:
            total += sum(
                part * log2(part / (weight * density)) for part, (weight, _) in zip(parts, groups, strict=True) if part > 0.0
            )
    return max(0.0, total * step / (u * sqrt(2 * pi)))
