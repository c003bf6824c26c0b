"""What would bring a light from what it gives to what it should give: power steps, a distance, or both.

Everything in stops; positive asks for more light.  Power goes first, in the steps that this fixture has, because it
leaves shape and softness alone; what the power range cannot do is done by distance, through the source's own falloff.  The side
effects of a move are stated with their numbers.
"""

from __future__ import annotations

from math import atan, degrees
from typing import NamedTuple

from meterlink import units
from meterlink.photometry.sources import source_of

TYPE_CHECKING = False
if TYPE_CHECKING:
    from meterlink.model import Light, Placement
    from meterlink.setwork.case import Falloff

NEAREST_M, FARTHEST_M = 0.3, 12.0
"""Lights are not asked nearer or farther than this: a face, a wall and a ceiling are in the way."""
ASSUMED_STEP_STOPS = 0.1
SMALL_STOPS = 0.05


class Move(NamedTuple):
    """One way to close a difference."""

    wanted_stops: float
    power_stops: float | None
    """New power in stops from full; None leaves the dial alone (or it is not known)."""
    power_text: str
    distance_m: float | None
    """New distance; None leaves the light where it is."""
    achieved_stops: float
    effects: tuple[str, ...] = ()
    why_short: str = ""
    """Why it cannot be done whole, when it cannot."""

    @property
    def left_over_stops(self) -> float:
        """What is still missing afterwards: positive, the light stays under."""
        return self.wanted_stops - self.achieved_stops

    @property
    def feasible(self) -> bool:
        """True when it is closed but for what the dial's step leaves."""
        return not self.why_short


def power_range(light: Light) -> tuple[float, float]:
    """Lowest and highest power in stops from full; a fixture that says nothing is taken to reach 1/256."""
    return (light.power_min_stops if light.power_min_stops is not None else -8.0, 0.0)


def stepped(power_stops: float, step_stops: float) -> float:
    """Return the nearest position of a dial with this step, counted from full power."""
    return round(round(power_stops / step_stops) * step_stops, 6)


def distance_for(placement: Placement, stops: float, falloff: Falloff | None = None) -> float | None:
    """Distance at which the light gives ``stops`` more than now, by its falloff; the nearest possible one at the limits.

    None when the present distance is not given.
    """
    if placement.distance_m is None:
        return None
    start = placement.distance_m
    source = source_of(placement.shape, placement.width_m, placement.height_m)
    change = falloff.change_stops if falloff is not None else source.change_stops
    near, far = min(NEAREST_M, start), max(FARTHEST_M, start)
    if stops >= change(start, near):
        return near
    if stops <= change(start, far):
        return far
    for _ in range(60):
        middle = (near + far) / 2
        if change(start, middle) > stops:
            near = middle
        else:
            far = middle
    return (near + far) / 2


def close(
    light: Light,
    placement: Placement,
    wanted_stops: float,
    *,
    falloff: Falloff | None = None,
    by: str = "both",
) -> Move:
    """Return the move that gives ``wanted_stops`` more (negative: less).

    ``by``: ``power``, ``distance`` or ``both`` (power first, distance for the rest).  A passive reflector has no power.
    """
    power: float | None = None
    text = ""
    achieved = 0.0
    why = ""
    if by != "distance" and placement.power_stops is not None and not light.source_light_id:
        lowest, highest = power_range(light)
        step = light.power_step_stops or ASSUMED_STEP_STOPS
        ideal = placement.power_stops + wanted_stops
        power = min(max(stepped(ideal, step), lowest), highest)
        achieved = power - placement.power_stops
        if ideal > highest + step / 2 or ideal < lowest - step / 2:
            end = "full power" if ideal > highest else "its lowest power"
            why = f"{end} is reached {abs(ideal - power):.1f} stop short"
        if abs(achieved) < 1e-9:
            power = None
        else:
            text = units.format_power(power, light.full_power_j, light.details.get("scale_top"))
    elif by == "power":
        why = "a passive reflector has no power" if light.source_light_id else "its power is not given"
    rest = wanted_stops - achieved
    needs_distance = bool(why) or placement.power_stops is None or bool(light.source_light_id) or by == "distance"
    distance: float | None = None
    effects: list[str] = []
    if by != "power" and needs_distance and abs(rest) > SMALL_STOPS:
        distance = distance_for(placement, rest, falloff)
        if distance is None:
            why = why or "its distance is not given, so no move can be worked out"
        else:
            achieved, why = _after_move(placement, distance, achieved, rest, falloff)
            effects = move_effects(placement, distance)
    return Move(wanted_stops, power, text, distance, achieved, tuple(effects), why)


def _after_move(
    placement: Placement, distance: float, achieved: float, rest: float, falloff: Falloff | None
) -> tuple[float, str]:
    source = source_of(placement.shape, placement.width_m, placement.height_m)
    change = falloff.change_stops if falloff is not None else source.change_stops
    gained = change(placement.distance_m or distance, distance)
    short = abs(rest - gained)
    why = f"even at {units.format_length(distance)} it stays {short:.1f} stop off" if short > SMALL_STOPS else ""
    return achieved + gained, why


def angular_size_deg(placement: Placement, distance_m: float) -> float:
    """Angle that the source's larger side fills, seen from its point: what softness follows."""
    width = max(placement.width_m or 0.0, placement.height_m or 0.0)
    return degrees(2 * atan(width / 2 / distance_m))


def move_effects(placement: Placement, distance_m: float) -> list[str]:
    """What else a new distance changes, in words with numbers."""
    old = placement.distance_m
    if old is None or not placement.width_m:
        return []
    before, after = angular_size_deg(placement, old), angular_size_deg(placement, distance_m)
    if abs(after - before) < 1:
        return []
    word = "softer" if after > before else "harder"
    effects = [f"{word}: it fills {after:.0f}° instead of {before:.0f}° seen from the {placement.aimed_at or 'point'}"]
    fall_before, fall_after = head_to_hands(placement, old), head_to_hands(placement, distance_m)
    if abs(fall_after - fall_before) >= 0.1:
        effects.append(f"hands 50 cm nearer change by {fall_after:.1f} stops instead of {fall_before:.1f}")
    return effects


def head_to_hands(placement: Placement, distance_m: float) -> float:
    """Stops gained by something half a metre nearer to the source than the point (capped at a tenth of the way)."""
    nearer = max(distance_m - 0.5, distance_m / 10)
    return source_of(placement.shape, placement.width_m, placement.height_m).change_stops(distance_m, nearer)


def move_text(light: Light, move: Move) -> str:
    """The move in one sentence a person can act on."""
    parts = []
    if move.power_stops is not None:
        direction = "up" if move.wanted_stops > 0 else "down"
        parts.append(f"power {direction} to {move.power_text}")
    if move.distance_m is not None:
        parts.append(f"distance to {units.format_length(move.distance_m)}")
    if not parts:
        said = "leave it" if abs(move.wanted_stops) <= SMALL_STOPS or move.feasible else "nothing can be done here"
    else:
        said = " and ".join(parts)
    if move.why_short:
        said += f"; {move.why_short}"
    elif abs(move.left_over_stops) >= SMALL_STOPS:
        said += f" (leaves {units.format_stops(-move.left_over_stops, 2)})"
    return f"{light.name}: {said}" + "".join(f"; {effect}" for effect in move.effects)
