"""Ratios of things measured side by side in one run: the only speeds that mean something on a busy machine.

Cases run in rotated rounds, so that a slow moment of the machine meets each of them; the figure of a case is the median over
the rounds of its time divided by the first case's time in the same round.
"""

from __future__ import annotations

import gc
import statistics
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple


class Goal(NamedTuple):
    """One figure with what it should be."""

    name: str
    ratio: float
    sign: str
    """``<=`` or ``>=``."""
    goal: float

    @property
    def holds(self) -> bool:
        """Whether the goal is met."""
        return self.ratio <= self.goal if self.sign == "<=" else self.ratio >= self.goal


def rounds_of(cases: Mapping[str, Callable[[], Any]], rounds: int) -> dict[str, list[float]]:
    """Return the seconds of every case in every round, in rotated order, with the collector off inside a case."""
    names = list(cases)
    seconds: dict[str, list[float]] = {name: [0.0] * rounds for name in names}
    for i in range(rounds):
        turn = i % len(names)
        for name in names[turn:] + names[:turn]:
            gc.collect()
            gc.disable()
            start = time.perf_counter()
            cases[name]()
            seconds[name][i] = time.perf_counter() - start
            gc.enable()
    return seconds


def ratios(cases: Mapping[str, Callable[[], Any]], rounds: int = 11) -> dict[str, float]:
    """Return for every case its time over the first case's, the median of the per-round ratios."""
    seconds = rounds_of(cases, rounds)
    first = next(iter(seconds.values()))
    return {
        name: statistics.median(t / base for t, base in zip(times, first, strict=True))
        for name, times in seconds.items()
    }


def print_goals(title: str, goals: Sequence[Goal]) -> bool:
    """Print a table of figures beside their goals; return whether all hold."""
    print(title)
    width = max((len(goal.name) for goal in goals), default=0)
    for goal in goals:
        word = "ok" if goal.holds else "SHORT"
        print(f"  {goal.name:<{width}}  {goal.ratio:10.3g}  goal {goal.sign} {goal.goal:<8g} {word}")
    return all(goal.holds for goal in goals)
