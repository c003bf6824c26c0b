"""What the match page shows: a stored set beside the one in use, light by light, and what closes each gap.  No kivy.

The comparison is ``meterlink.tables.match``; which set is matched to which is kept in the library where the command
line keeps it too, so that both go on with the same match.
"""

from __future__ import annotations

from typing import NamedTuple

from meterlink.judging.judged_set import LightState
from meterlink.tables.adjustment import close
from meterlink.tables.match import MatchRow
from meterlink.words.told import written
from mobile import figures
from mobile.desk import Shot
from mobile.last_pop import value_shown
from mobile.lights_state import place_text
from mobile.texts import t, t_count


class MatchLine(NamedTuple):
    """One light of the stored set."""

    light_id: str
    """Of the present light; empty when it is missing."""
    name: str
    mark: str
    """``good`` (within), ``retake`` (off), ``none`` (waits for its pop)."""
    figure: str
    """What it gives now and what it gave, as f-numbers; empty while its reading is in doubt."""
    difference: str
    """``1.6 stops over``; empty while its reading is in doubt."""
    turn: str
    """What to turn, in the head's own steps; or that nothing is to be done."""
    stands: str
    """What it gave, where that does not stand beside what it gives now; where it stood, when it stands elsewhere now."""
    otherwise: str
    """Another way to close the gap: ``or 12 cm closer``."""
    waiting: bool
    can_meter: bool
    """It has a stored reading, and stands in the set: a pop of it can be compared."""
    again: bool
    """Its last pop is in doubt: it is to be taken again."""
    can_move: bool
    """There is a change of dial or place that the person can say they have made."""


class MatchLook(NamedTuple):
    """The whole page."""

    title: str
    hint: str
    lines: tuple[MatchLine, ...]
    camera: str
    done: bool
    again: tuple[str, str]
    """(light id, name) of a light whose pop is to be taken again before anything is turned; empty where there is none."""
    choices: tuple[tuple[str, str], ...]
    """(set-up id, name) to begin a match with, when none is under way."""


def match_look(shot: Shot, choices: tuple[tuple[str, str], ...] = ()) -> MatchLook:
    """Turn the snapshot into the page."""
    if shot.match is None or shot.stored is None or shot.view is None:
        hint = t("match.choose") if choices else t("match.nothing_stored")
        return MatchLook(t("match.none"), hint, (), "", False, ("", ""), choices)
    present = {s.light.name.casefold(): s for s in shot.view.lights}
    stored = {s.light.name: s for s in shot.stored.lights}
    # Largest difference first; what is not metered yet comes last, in its order.
    ordered = sorted(shot.match.rows, key=lambda row: -abs(row.difference_stops) if row.difference_stops is not None else 1.0)
    lines = tuple(_line(shot, row, stored[row.light], present.get(row.light.casefold())) for row in ordered)
    again = next(((line.light_id, line.name) for line in lines if line.again), ("", ""))
    if again[0]:
        # One next thing: the light that the walk waits for comes after it.
        lines = tuple(line._replace(waiting=False) for line in lines)
    done = shot.match.done
    return MatchLook(
        t("match.title", name=shot.stored.setup.name),
        t("match.done") if done else t("match.hint"),
        lines,
        str(shot.match.camera),
        done,
        again,
        (),
    )


def _line(shot: Shot, row: MatchRow, stored: LightState, now: LightState | None) -> MatchLine:
    imperial = shot.prefs.imperial
    stood = place_text(stored.light, stored.placement, imperial)
    stands = place_text(now.light, now.placement, imperial) if now is not None else ""
    waiting = shot.waiting is not None and now is not None and shot.waiting.light_id == now.light.id
    move, known = row.move, row.difference_stops is not None and not row.doubt
    was = [_was(shot, stored)] if not known and stored.reading is not None else []
    was += [stood] if stood != stands or row.difference_stops is None else []
    return MatchLine(
        now.light.id if now is not None else "",
        row.light,
        "none" if row.difference_stops is None else "good" if row.within and not row.doubt else "retake",
        _figure(shot, stored, now) if known else "",
        _difference(row.difference_stops or 0.0) if known else "",
        _turn(shot, row, now, waiting),
        t("match.stood", place=", ".join(was)) if was else "",
        "" if row.doubt else _otherwise(shot, row, now),
        waiting,
        now is not None and stored.reading is not None,
        bool(row.doubt) and now is not None,
        not row.doubt and move is not None and (move.power_stops is not None or move.distance_m is not None),
    )


def _figure(shot: Shot, stored: LightState, now: LightState | None) -> str:
    """``now f/11 +0.7, was f/8``."""
    if now is None or now.reading is None or stored.reading is None:
        return ""
    return t("match.now_was", now=value_shown(shot, now.value or 0.0, now.reading), was=_was(shot, stored))


def _was(shot: Shot, stored: LightState) -> str:
    """What a light gave, as the stored set judges it, in the steps that the person likes."""
    assert stored.reading is not None
    return value_shown(shot._replace(view=shot.stored), stored.value or 0.0, stored.reading)


def _difference(stops: float) -> str:
    if abs(stops) < 0.05:
        return figures.format_stops(0.0)
    return t("match.too_bright" if stops > 0 else "match.too_dim", stops=written(stops, "stops_word"))


def _turn(shot: Shot, row: MatchRow, now: LightState | None, waiting: bool) -> str:
    """What to turn, counted in the clicks of the head's own dial where its step is known."""
    if row.doubt:
        # Why stands with the light's verdict; a dial is not turned by a reading in doubt.
        return t("match.doubt")
    if row.sentence.code == "waits_for_pop":
        # The empty mark says it of all; in words only of the one that is next.
        return t("match.waits") if waiting else ""
    if shot.match is not None and shot.match.camera and row.move is None and row.difference_stops is not None:
        return t("match.at_camera")
    if row.within and row.difference_stops is not None and row.move is None:
        return t("match.within")
    if row.move is None or row.move.power_stops is None or now is None or now.placement is None:
        return str(row.sentence)
    step, from_stops = now.light.power_step_stops, now.placement.power_stops
    text = written(row.move.power_text, "figure")
    if not step or from_stops is None:
        return t("match.turn_to", power=text)
    clicks = round((row.move.power_stops - from_stops) / step)
    return t_count("match.clicks_up" if clicks > 0 else "match.clicks_down", abs(clicks), power=text)


def _otherwise(shot: Shot, row: MatchRow, now: LightState | None) -> str:
    """Say the distance that would do it too, when the dial was offered first."""
    move = row.move
    if move is None or move.distance_m is not None or now is None or now.placement is None or row.difference_stops is None:
        return ""
    falloff = shot.view.falloffs.get(now.light.modifier) if shot.view and now.light.modifier else None
    common = shot.match.common_stops if shot.match is not None else None
    other = close(now.light, now.placement, (common or 0.0) - row.difference_stops, falloff=falloff, by="distance")
    if other.distance_m is None or now.placement.distance_m is None or other.why_short:
        return ""
    shift = now.placement.distance_m - other.distance_m
    length = figures.format_length(abs(shift), shot.prefs.imperial)
    return t("match.or_closer" if shift > 0 else "match.or_farther", length=length)
