"""What would bring a light from what it gives to what it should give: power steps, a distance, or both.

Everything in stops; positive asks for more light.  Power goes first, in the steps that this fixture has and by what its dial
was found to deliver, because it leaves shape and softness alone; what the dial cannot do (its range ends, or its step is
too coarse) is done by distance, through the source's own falloff.
"""

from __future__ import annotations

from math import hypot
from typing import Any, NamedTuple

from meterlink.judging.case import Falloff
from meterlink.judging.joined_pops import CARRY_M
from meterlink.judging.learnt_dial import power_range, power_words
from meterlink.judging.power_curve import PowerCurve
from meterlink.photometry.sources import source_of
from meterlink.records import Light, Placement
from meterlink.words.told import NOTHING, Told, all_of, told

NEAREST_M, FARTHEST_M = 0.3, 12.0
"""Lights are not asked nearer or farther than this: a face, a wall and a ceiling are in the way."""
ASSUMED_STEP_STOPS = 0.1
SMALL_STOPS = 0.05
GAP_STOPS = 0.06
"""What a dial's step may leave before a small move is asked for as well."""
LEAST_CARRY_M = 0.02
"""Nobody is sent to a stand for less while the dial can be turned."""
FINE_GAP_STOPS = 0.03
"""The same where only a little is missing and the light will not be metered again."""


class Move(NamedTuple):
    """One way to close a difference."""

    wanted_stops: float
    power_stops: float | None = None
    """New power in stops from full; None leaves the dial alone (or it is not known)."""
    power_text: str = ""
    distance_m: float | None = None
    """New distance; None leaves the light where it is."""
    achieved_stops: float = 0.0
    effects: tuple[Told, ...] = ()
    why_short: Told = NOTHING
    """Why it cannot be done whole, when it cannot."""
    learnt: bool = False
    """True when the dial's step was chosen by what this fixture was found to deliver."""
    end: str = ""
    """Which end of the dial was reached, so that a stand has to do the rest; empty when the dial does it."""

    @property
    def left_over_stops(self) -> float:
        """What is still missing afterwards: positive, the light stays under."""
        return self.wanted_stops - self.achieved_stops

    @property
    def feasible(self) -> bool:
        """True when it is closed but for what the dial's step leaves."""
        return not self.why_short

    @property
    def empty(self) -> bool:
        """True when there is nothing to turn and nothing to carry."""
        return self.power_stops is None and self.distance_m is None


def change_by_distance(placement: Placement, to_m: float, falloff: Falloff | None = None) -> float:
    """Return the stops that a new distance brings, by the modifier's measured falloff or else its size; 0 if unknown."""
    if placement.distance_m is None:
        return 0.0
    source = falloff if falloff is not None else source_of(*placement.surface)
    return float(source.change_stops(placement.distance_m, to_m))


def distance_for(placement: Placement, stops: float, falloff: Falloff | None = None) -> float | None:
    """Distance at which the light gives ``stops`` more than now, by its falloff; the nearest possible one at the limits.

    None when the present distance is not given.
    """
    if placement.distance_m is None:
        return None
    start = placement.distance_m
    near, far = min(NEAREST_M, start), max(FARTHEST_M, start)
    if stops >= change_by_distance(placement, near, falloff):
        return near
    if stops <= change_by_distance(placement, far, falloff):
        return far
    for _ in range(40):
        middle = (near + far) / 2
        if change_by_distance(placement, middle, falloff) > stops:
            near = middle
        else:
            far = middle
    # What is told is what is set: a tape is read to a centimetre.
    return round((near + far) / 2, 2)


def _worth(placement: Placement, to_m: float, rest: float, falloff: Falloff | None) -> bool:
    """Say whether a small move leaves less than the rest that it closes, with the carrying's own error counted."""
    if placement.distance_m is None or abs(to_m - placement.distance_m) < LEAST_CARRY_M - 1e-9:
        return False
    left = rest - change_by_distance(placement, to_m, falloff)
    u = change_by_distance(placement._replace(distance_m=to_m), to_m - CARRY_M, falloff)
    return hypot(left, u) < abs(rest)


def _by_power(light: Light, now: float, wanted: float, curve: PowerCurve | None) -> Move:
    """Return the turn of the dial, which stands at ``now``, whose change comes nearest to what is wanted."""
    lowest, highest = power_range(light)
    step = light.power_step_stops or ASSUMED_STEP_STOPS
    learnt = curve is not None and curve.pairs > 0

    def delivers(power: float) -> float:
        return curve.change(now, power)[0] if curve is not None and learnt else power - now

    count = int((highest - lowest) / step + 1e-9)
    # Fewest turns among equals: the present position comes first, and once, however it was typed.
    steps = (round(highest - step * i, 6) for i in range(count + 1))
    positions = [now, *(p for p in steps if abs(p - now) > 1e-3)]
    power = min((p for p in positions if lowest - 1e-6 <= p <= highest or p == now), key=lambda p: abs(delivers(p) - wanted))
    achieved = delivers(power)
    why, end = NOTHING, ""
    if wanted - achieved > step / 2 + 1e-6 and power >= highest - step / 2:
        end, why = "full_power", told("full_power_short", stops=wanted - achieved)
    elif achieved - wanted > step / 2 + 1e-6 and power <= lowest + step:
        end, why = "lowest_power", told("lowest_power_bright", stops=achieved - wanted)
    if power == now:
        return Move(wanted, achieved_stops=achieved, why_short=why, end=end)
    text = power_words(light, power)
    return Move(wanted, power, text, None, achieved, (), why, learnt, end)


def close(
    light: Light,
    placement: Placement,
    wanted_stops: float,
    *,
    falloff: Falloff | None = None,
    by: str = "both",
    curve: PowerCurve | None = None,
    gap_stops: float = GAP_STOPS,
) -> Move:
    """Return the move that gives ``wanted_stops`` more (negative: less).

    ``by``: ``power``, ``distance`` or ``both`` (power first, distance for what is more than ``gap_stops``, unless the stand
    cannot be set down that well).  ``curve`` is what the fixture's dial was found to deliver.  A passive reflector has no power.
    Side effects are added by ``side_effects.with_effects``.
    """
    move = Move(wanted_stops)
    dial = None if light.source_light_id else placement.power_stops
    if by != "distance" and dial is not None:
        move = _by_power(light, dial, wanted_stops, curve)
    elif by == "power":
        move = move._replace(why_short=told("reflector_no_power" if light.source_light_id else "power_not_given"))
    rest = move.left_over_stops
    stepwise = by == "both" and dial is not None
    if by == "power" or abs(rest) <= (gap_stops if stepwise else SMALL_STOPS):
        return move
    distance = distance_for(placement, rest, falloff)
    if distance is None:
        # A rest below the dial's step is what the step leaves, not a failure.
        return move if move.why_short or stepwise else move._replace(why_short=told("distance_not_given"))
    if stepwise and not move.why_short and not _worth(placement, distance, rest, falloff):
        return move
    gained = change_by_distance(placement, distance, falloff)
    short = abs(rest - gained)
    why = NOTHING
    if short > GAP_STOPS:
        at = {"end": told(move.end)} if move.end else {}
        why = told("even_at_end" if at else "even_at", distance_m=distance, stops=short, **at)
    return move._replace(distance_m=distance, achieved_stops=move.achieved_stops + gained, why_short=why)


def placement_changes(move: Move) -> dict[str, Any]:
    """Return the fields of a placement that the move changes, for ``Session.move``."""
    changes: dict[str, Any] = {}
    if move.power_stops is not None:
        changes |= {"power_stops": move.power_stops, "power_text": move.power_text}
    if move.distance_m is not None:
        changes["distance_m"] = move.distance_m
    return changes


def move_said(move: Move, placement: Placement | None = None) -> Told:
    """The move alone: ``power up to 1/4 +0.3 and 4 cm closer, to 1.16 m``; nothing when there is nothing to do."""
    parts = []
    if move.power_stops is not None:
        now = placement.power_stops if placement is not None else None
        down = move.wanted_stops < 0 if now is None else move.power_stops < now
        parts.append(told("power_down" if down else "power_up", power=move.power_text))
    if move.distance_m is not None:
        if placement is None or placement.distance_m is None:
            said = told("distance_to", distance_m=move.distance_m)
        else:
            shift = placement.distance_m - move.distance_m
            said = told("closer" if shift > 0 else "farther", shift_m=abs(shift), distance_m=move.distance_m)
        already = move.end and move.power_stops is None
        parts.append(told("already_at", end=told(move.end), move=said) if already else said)
    return all_of(*parts, by=" and ")


def move_told(light: Light, move: Move, placement: Placement | None = None) -> Told:
    """The move as something that a person can act on, with its light's name before it."""
    return all_of(light.name, to_turn(move, placement), by=": ")


def to_turn(move: Move, placement: Placement | None = None) -> Told:
    """The move as something that a person can act on: what to turn, what that leaves, and what else it does."""
    said = move_said(move, placement) or told("nothing_can_be_done" if move.why_short else "leave_it")
    if not move.why_short and abs(move.left_over_stops) >= SMALL_STOPS:
        said = told("leaves", what=said, left=-move.left_over_stops)
    return all_of(said, move.why_short, *move.effects)
