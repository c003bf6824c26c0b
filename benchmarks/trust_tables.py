"""Tables of the trust benchmark: what was found of what was wrong, beside the ideal detector."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

USES = ("sum", "history", "both")
BANDS = ((-9.0, 1.0), (1.0, 2.0), (2.0, 9.0))
"""Stops under the key."""
SIZES = ((1 / 3, 0.5), (0.5, 0.65), (0.65, 0.85), (0.85, 1.2), (1.2, 9.0))
"""Stops that the misplaced reading is too high."""
FALSE_ALARMS = 0.02


class Outcome(NamedTuple):
    """What was found in one set."""

    wrong: bool
    cost_stops: float
    u_stops: float
    """Combined standard uncertainty of the misplaced reading and its prediction, as stated."""
    level: float
    """Stops under the key."""
    frontal: bool
    alarms: dict[str, bool]
    """By what was used; in a clean set a complaint of any check."""
    odds: dict[str, float]
    """Of the ideal detector."""
    known: dict[str, bool]
    """Whether the right light was known after at most two suggested pops, where there was an alarm."""


def share(values: Sequence[bool]) -> str:
    """A share in per cent with the number it rests on."""
    return f"{100 * np.mean(values):5.1f} % of {len(values)}" if len(values) else "    – of 0"


class Table:
    """Shares of the wrong sets that are caught, by ours and by the ideal detector."""

    def __init__(self, found: Sequence[Outcome]) -> None:
        clean = [one for one in found if not one.wrong]
        self.wrong = [one for one in found if one.wrong]
        self.false = {use: [one.alarms[use] for one in clean] for use in USES}
        odds = {use: [one.odds[use] for one in clean] for use in USES}
        self.limit = {use: float(np.quantile(odds[use], 1 - FALSE_ALARMS)) for use in USES}
        self.limit_as_ours = {use: float(np.quantile(odds[use], 1 - np.mean(self.false[use]))) for use in USES}

    def cells(self, use: str, fits: Callable[[Outcome], bool]) -> tuple[list[bool], list[bool], list[bool]]:
        """Caught by ours, by the ideal detector, and by it at as many false alarms as ours."""
        some = [one for one in self.wrong if fits(one)]
        return (
            [one.alarms[use] for one in some],
            [one.odds[use] > self.limit[use] for one in some],
            [one.odds[use] > self.limit_as_ours[use] for one in some],
        )

    def row(self, name: str, use: str, fits: Callable[[Outcome], bool]) -> None:
        """Print one row."""
        ours, ideal, as_ours = self.cells(use, fits)
        if ours:
            print(f"    {name:58s} {share(ours):18s} {100 * np.mean(ideal):5.1f} %   {100 * np.mean(as_ours):5.1f} %")


def words(levels: tuple[float, float]) -> str:
    """A band of levels in words."""
    return f"{max(0, levels[0]):.0f}-{levels[1]:.0f} stops under the key" if levels[1] < 9 else "more than 2 stops under"


def sized(sizes: tuple[float, float]) -> str:
    """A band of sizes in words."""
    return f"{sizes[0]:.2f}-{sizes[1]:.2f} stop" if sizes[1] < 9 else f"above {sizes[0]:.1f} stops"


def _within(one: Outcome, levels: tuple[float, float]) -> bool:
    return levels[0] <= one.level < levels[1]


def report(title: str, found: Sequence[Outcome]) -> None:
    """Print the figures of one world."""
    table = Table(found)
    print(f"\n{title}\n    {'caught':58s} {'ours':18s} {'ideal':>7s}   at our false alarms")
    for levels in BANDS:
        table.row(
            f"sum, above 1/3 stop, frontal, {words(levels)}", "sum", lambda one, levels=levels: one.frontal and _within(one, levels)
        )
    for use in ("history", "both"):
        table.row(f"{use}, beyond 3 u", use, lambda one: one.cost_stops > 3 * one.u_stops)
        table.row(f"{use}, above 1/2 stop", use, lambda one: one.cost_stops > 0.5)
        for levels in BANDS:
            name = f"{use}, above 1/2 stop, {words(levels)}"
            table.row(name, use, lambda one, levels=levels: one.cost_stops > 0.5 and _within(one, levels))
            name = f"{use}, beyond 3 u, {words(levels)}"
            table.row(name, use, lambda one, levels=levels: one.cost_stops > 3 * one.u_stops and _within(one, levels))
    for use in USES:
        known = [one.known[use] for one in table.wrong if use in one.known]
        print(f"  right light known after at most two suggested pops ({use}): {share(known)}")
    for use in USES:
        print(f"  false alarms in clean sets, all checks together ({use}): {share(table.false[use])}")
    curve(table)


def curve(table: Table) -> None:
    """Print what is caught against the size of the error: ours / ideal (number), by level under the key."""
    for use in USES:
        print(f"  {use}: caught by size of the error, ours / ideal (n)" + ("; frontal lights" if use == "sum" else ""))
        print(f"    {'':16s}" + "".join(f"{words(levels):>26s}" for levels in BANDS))
        for sizes in SIZES:
            texts = []
            for levels in BANDS:
                ours, ideal, _as_ours = table.cells(
                    use,
                    lambda one, use=use, levels=levels, sizes=sizes: (
                        sizes[0] <= one.cost_stops < sizes[1] and _within(one, levels) and (one.frontal or use != "sum")
                    ),
                )
                texts.append(f"{100 * np.mean(ours):3.0f} / {100 * np.mean(ideal):3.0f} % ({len(ours)})" if ours else "–")
            print(f"    {sized(sizes):16s}" + "".join(f"{text:>26s}" for text in texts))
