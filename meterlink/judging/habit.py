"""How the dome is held when nobody says: a habit, the same for all undeclared pops of one walk.

One hand holds the dome for every light.  Whether it touches the face or floats some centimetres in front of it is not known, but it
is so for all lights and for the pop of all of them; taken as each pop's own chance it would even out, and it does not.  So it is
one unknown of the walk: a few habits, each likely as the next until what was read tells them apart.  Under each of them an
undeclared distance is uniform between the nearest that the settings assume and a third, two thirds or all of the farthest.

A distance that was declared has an uncertainty too, but a dome is never behind its point: zero give or take a centimetre is half a
centimetre or so in front of it.
"""

from __future__ import annotations

from math import erfc, exp, pi, sqrt
from typing import NamedTuple

from meterlink.records.kept import Reading, Settings

PARTS = (1 / 3, 2 / 3, 1.0)


class Habit(NamedTuple):
    """Held-off distance of an undeclared pop, in metres: its mean and its standard deviation."""

    mean_m: float
    u_m: float


def habits(settings: Settings) -> tuple[Habit, ...]:
    """Return the habits between which nothing but the readings tells."""
    low, high = settings.assumed_reach_min_m, settings.assumed_reach_max_m
    return tuple(Habit(low + part * (high - low) / 2, part * (high - low) / sqrt(12)) for part in PARTS)


def never_behind(held_off_m: float, u_m: float) -> Habit:
    """Return mean and standard deviation of a declared distance, as a normal density of which only 0 and more counts."""
    if not u_m > 0.0 or held_off_m > 4 * u_m:
        return Habit(held_off_m, u_m)
    a = -held_off_m / u_m
    tail = exp(-a * a / 2) / sqrt(2 * pi) / (erfc(a / sqrt(2)) / 2)
    return Habit(held_off_m + u_m * tail, u_m * sqrt(max(1e-6, 1 + a * tail - tail * tail)))


def place_of(reading: Reading, settings: Settings, habit: Habit) -> Habit:
    """Return where the dome was for a reading: as declared, else by habit."""
    if reading.held_off_m is None:
        return habit
    u = reading.u_held_off_m
    return never_behind(reading.held_off_m, settings.u_held_off_m(reading.held_off_m) if u is None else u)
