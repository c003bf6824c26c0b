"""Bringing a set back to a stored one: what differs at each light's point, and what closes it.

What is brought back is the *light at the point*, not the dials: a replaced head or modifier is recognised and named, and its
power still worked out so that the face gets what it got.  When all lights are off alike, one change of ISO or
aperture is offered instead of one per light; a camera that was changed since is counted in.
"""

from __future__ import annotations

from math import hypot, log2
from typing import Any, NamedTuple

from meterlink import units
from meterlink.errors import UnitError
from meterlink.judging.joined_pops import settled
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.judging.learnt_dial import dial_words
from meterlink.judging.verdict import RETAKE
from meterlink.records import Reading, Setup
from meterlink.tables.adjustment import Move, to_turn
from meterlink.tables.ratios import scale_u_stops
from meterlink.tables.side_effects import closing_move
from meterlink.words.told import NOTHING, Told, all_of, plain, told

REPLACED_STOPS = 0.6
"""A head that gives so much more or less at the same dial and distance is taken for another one (our own limit)."""
MOST_OVER_FULL = 0.05
"""Stops beyond full power at which a dial may still seem to stand."""
ALIKE = 0.8
"""Part of its tolerance that a change of the camera may leave a light off; more, and lights are turned instead."""
MANY = 4
"""From so many lights on one of them may be off by itself beside a common difference."""


class MatchRow(NamedTuple):
    """One light of the stored set beside the present one."""

    light: str
    stored_lxs: float | None
    now_lxs: float | None
    difference_stops: float | None
    """Present minus stored, a change of the camera counted in: negative is under."""
    u95_stops: float | None
    tolerance_stops: float
    """The tolerance asked for, or half of the fixture's own step where that is coarser."""
    within: bool
    move: Move | None
    replaced: Told
    """Why it looks like another head or modifier; nothing when it does not."""
    sentence: Told
    """How it compares, and what to do."""
    metered: bool = True
    """False where the light was turned a little after its last pop: the difference is what is to be expected."""
    doubt: Told = NOTHING
    """What the other readings of the present set say against this one; nothing when nothing does."""


class MatchReport(NamedTuple):
    """All lights, and what one change of the camera would do."""

    rows: tuple[MatchRow, ...]
    common_stops: float | None
    """Difference that the lights share, in whole thirds, when one change of ISO or aperture closes it; positive is over."""
    camera: Told
    """That change; nothing without one."""
    extra: tuple[str, ...] = ()
    """Lights that give light now and are not in the stored set."""
    open: tuple[str | None, ...] = ()
    """Lights of the present set that its table or its checks call back to: without a value that stands, or to be taken again;
    None for the pop of all lights."""

    @property
    def done(self) -> bool:
        """True when every light of the stored set is within its tolerance, no other burns, and ratios and checks call to none."""
        matches = bool(self.rows) and all(row.within and not row.doubt for row in self.rows)
        return matches and not self.extra and not self.open

    def as_json(self) -> Any:
        """Return the report as JSON data."""
        return plain({**self._asdict(), "done": self.done})


def camera_stops(stored: Setup, now: Setup) -> float:
    """Return by how many stops the present camera takes more light than the stored one: ISO, aperture, filter.

    The shutter counts for steady light only and is left out here; an aperture counts when both set-ups note it.
    """
    stops = log2(now.iso / stored.iso) - (now.filter_stops - stored.filter_stops)
    f_then, f_now = noted_aperture(stored), noted_aperture(now)
    if f_then and f_now:
        stops -= 2 * log2(f_now / f_then)
    return stops


def noted_aperture(setup: Setup) -> float | None:
    """The aperture that a set-up notes, as a number; None for none or for text that is none."""
    value = setup.details.get("aperture")
    try:
        return units.parse_f_number(value) if isinstance(value, str) else None
    except UnitError:
        return None


def match_row(
    stored: LightState, now: LightState | None, stored_view: JudgedSet, now_view: JudgedSet, tolerance_stops: float
) -> MatchRow:
    """Compare one light of the stored set with its counterpart (None: it is not in the present set)."""
    name = stored.light.name
    step = stored.light.power_step_stops if now is None else now.light.power_step_stops
    tolerance = max(tolerance_stops, (step or 0.0) / 2 + 0.01) if step else tolerance_stops
    empty = MatchRow(name, None, None, None, None, tolerance, False, None, NOTHING, told("not_in_stored", light=name))
    if stored.value is None or stored.reading is None or not stored.value > 0:
        return empty
    empty = empty._replace(stored_lxs=stored.value)
    if now is None:
        return empty._replace(sentence=told("missing_light", light=name))
    replaced = source_change(stored, now)
    if now.value is None or now.reading is None or not now.value > 0:
        return empty._replace(replaced=replaced, sentence=told("waits_for_pop", light=name))
    metered = not now.expected
    unlike = _unlike(stored.reading, now.reading)
    if unlike:
        return empty._replace(replaced=replaced, sentence=all_of(name, unlike, by=": "))
    camera = camera_stops(stored_view.setup, now_view.setup)
    difference = log2(now.value / stored.value) + camera
    u = _u_difference(stored, now, stored_view, now_view)
    within = abs(difference) <= tolerance
    vague = is_vague(now, difference, u)
    replaced = replaced or (NOTHING if vague else _output_change(stored, now, difference - camera))
    move = None if within or vague else closing_move(now, now_view, -difference, same_head=not replaced)
    said = _off(now, difference, 2 * u, move, replaced) if not within else _fits(name, difference, u, camera, replaced)
    if vague and not within:
        said = all_of(said, told("fire_again"), by=": ")
    if not metered:
        said = told("expected_only", said=said)
    doubt = now.judged.against if now.judged is not None else NOTHING
    if doubt:
        said = told("in_doubt", said=said, doubt=doubt)
    return MatchRow(name, stored.value, now.value, difference, 2 * u, tolerance, within, move, replaced, said, metered, doubt)


def is_vague(now: LightState, off_stops: float, u_stops: float) -> bool:
    """Whether a reading that is to be taken again does not even tell which way its light is off: nothing is turned by it."""
    return now.judged is not None and now.judged.verdict == RETAKE and abs(off_stops) <= 2 * u_stops


def _unlike(stored: Reading, now: Reading) -> Told:
    """Say why two readings cannot be set against each other; nothing when they can."""
    if stored.kind != now.kind:
        return told("metered_unlike_kind", now=now.kind, then=stored.kind)
    if stored.receptor != now.receptor:
        return told("metered_unlike_receptor", now=now.receptor, then=stored.receptor)
    return NOTHING


def _u_difference(stored: LightState, now: LightState, stored_view: JudgedSet, now_view: JudgedSet) -> float:
    """Standard uncertainty of the difference: both readings, and both scales unless it is one calibration."""
    parts = [one.judged.u_stops for one in (stored, now) if one.judged is not None]
    pairs = [(state.reading, view) for state, view in ((stored, stored_view), (now, now_view)) if state.reading is not None]
    if len({reading.calibration_id for reading, _ in pairs}) > 1:
        parts += [scale_u_stops(reading, view) for reading, view in pairs]
    return hypot(*parts)


def source_change(stored: LightState, now: LightState) -> Told:
    """Say which part of the source differs from the stored one: head, modifier, shape or size, grid, gel, diffusers."""
    then, light = stored.light, now.light
    names = (("other_head", then.fixture, light.fixture), ("other_modifier", then.modifier, light.modifier))
    changes = [told(what, now=b, then=a) for what, a, b in names if a and b and a.casefold() != b.casefold()]
    old, new = stored.placement, now.placement
    if old is not None and new is not None:
        unlike = {
            "other_shape": old.surface != new.surface,
            "other_grid": old.grid_deg != new.grid_deg,
            "other_gel": old.gel.casefold() != new.gel.casefold(),
            "other_diffusers": old.diffusers.casefold() != new.diffusers.casefold(),
        }
        changes += [told(what) for what, differs in unlike.items() if differs]
    return all_of(*changes, by=", ")


def _output_change(stored: LightState, now: LightState, difference: float) -> Told:
    """Recognise a dial that stands elsewhere, or another head, by its output: the same said, and much more or less light."""
    old, new = stored.placement, now.placement
    if old is None or new is None or now.light.source_light_id:
        return NOTHING
    same_dial = old.power_stops is not None and old.power_stops == new.power_stops
    same_place = old.distance_m is not None and new.distance_m is not None and abs(old.distance_m / new.distance_m - 1) < 0.05
    if same_dial and same_place and abs(difference) >= REPLACED_STOPS:
        said = told("more_output" if difference > 0 else "less_output", stops=difference)
        why = told("another_source")
        if (new.power_stops or 0.0) + difference <= MOST_OVER_FULL:
            like = told("reads_like", like=dial_words(now.light, new, difference), said=dial_words(now.light, new))
            why = told("reads_like_else", like=like, causes=why)
        return all_of(said, why, by=": ")
    return NOTHING


def _fits(name: str, difference: float, u: float, camera: float, replaced: Told) -> Told:
    said = told("matches", light=name, stops=difference, u95=2 * u)
    if abs(camera) >= 0.005:
        said = told("matches_camera", light=name, stops=difference, u95=2 * u, camera=camera)
    return all_of(said, replaced)


def _off(now: LightState, difference: float, u95: float, move: Move | None, replaced: Told) -> Told:
    said = told("over" if difference > 0 else "under", light=now.light.name, stops=difference, u95=u95)
    if move is not None:
        said = all_of(said, to_turn(move, now.placement), by=": ")
    return all_of(said, replaced)


def match_report(
    stored: JudgedSet, now: JudgedSet, tolerance_stops: float | None = None, *, keep_common: bool = True
) -> MatchReport:
    """Compare a stored set with the present one, light by light (paired by name).

    ``keep_common`` leaves a difference that the lights share to the camera: what is told of each light is what is left beside it.

    Where ``now`` carries its history, all pops of a light that was turned between them count together (``settling``).
    """
    now = settled(now)
    tolerance = tolerance_stops if tolerance_stops is not None else now.settings.match_tolerance_stops
    present = {state.light.name.casefold(): state for state in now.lights}
    metered = [state for state in stored.lights if state.reading is not None or state.stale is not None]
    rows = tuple(match_row(state, present.get(state.light.name.casefold()), stored, now, tolerance) for state in metered)
    known = {state.light.name.casefold() for state in stored.lights}
    extra = tuple(s.light.name for s in now.lights if s.light.name.casefold() not in known and (s.value or 0.0) > 0)
    common, camera = _common(rows, now) if keep_common else (None, NOTHING)
    if common is not None:
        rows = tuple(_beside_camera(row, present.get(row.light.casefold()), now, common) for row in rows)
    return MatchReport(rows, common, camera, extra, _called_back(now))


def _beside_camera(row: MatchRow, state: LightState | None, now: JudgedSet, common: float) -> MatchRow:
    """What is to be done with a light where the camera closes what it shares with the others: nothing, or what is left."""
    if state is None or row.difference_stops is None:
        return row
    rest = row.difference_stops - common
    vague = is_vague(state, rest, (row.u95_stops or 0.0) / 2)
    move = None if abs(rest) <= row.tolerance_stops or vague else closing_move(state, now, -rest, same_head=not row.replaced)
    to_do = to_turn(move, state.placement) if move is not None else told("fire_again") if vague else told("leave_it_to_camera")
    u95 = row.u95_stops or 0.0
    code = "over" if row.difference_stops > 0 else "under"
    said = all_of(told(code, light=row.light, stops=row.difference_stops, u95=u95), to_do, by=": ")
    if move is not None:
        said = told("beside_camera", said=said)
    said = all_of(said, row.replaced)
    if not row.metered:
        said = told("expected_only", said=said)
    return row._replace(move=move, sentence=told("in_doubt", said=said, doubt=row.doubt) if row.doubt else said)


def _called_back(now: JudgedSet) -> tuple[str | None, ...]:
    """Lights that ratios and checks do not leave as they are; None for the pop of all lights where that itself is in doubt."""
    names = [s.light.name for s in now.lights if s.value is None or s.judged is None or s.judged.verdict == RETAKE]
    return (*names, None) if now.blamed is not None and now.blamed.light_id is None else (*names,)


def _common(rows: tuple[MatchRow, ...], now: JudgedSet) -> tuple[float | None, Told]:
    """Find a change of the camera in thirds after which all lights match, and say it; with many lights one may be left.

    It is offered only where it leaves every one of them well within its tolerance, so that none has to be touched.
    """
    known = [(row.difference_stops, row.tolerance_stops) for row in rows if row.difference_stops is not None]
    if len(known) < 2 or len(known) < len(rows):
        return None, NOTHING
    best: tuple[int, list[float]] = (0, [d for d, tolerance in known if abs(d) <= tolerance])
    for thirds in sorted({round(-3 * d) for d, _ in known}, key=abs):
        closed = [d for d, tolerance in known if abs(d + thirds / 3) <= ALIKE * tolerance]
        if thirds and len(closed) > len(best[1]):
            best = (thirds, closed)
    thirds, closed = best
    others = len(rows) - len(closed)
    if not thirds or len(closed) < 2 or others > (1 if len(rows) >= MANY else 0):
        return None, NOTHING
    middle = sum(closed) / len(closed)
    iso = now.setup.iso * 2.0 ** (thirds / 3)
    rest = middle + thirds / 3
    code = f"{'most' if others else 'all'}_alike_{'open' if thirds > 0 else 'close'}"
    of = {"of": len(rows)} if others else {}
    said = told(code, stops=middle, thirds=abs(thirds), iso=iso, lights=len(closed), **of)
    return -thirds / 3, said if abs(rest) < 0.05 else told("leaves", what=said, left=rest)
