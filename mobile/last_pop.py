"""What is shown and said of the last pop: whose it was, what it gave, what that is worth and why.  No kivy."""

from __future__ import annotations

import re
from typing import Any, NamedTuple

from meterlink.judging.judged_set import value_of
from meterlink.judging.verdict import Judged, Why
from meterlink.metering.outcome import OutcomeCode
from meterlink.records import Purpose, Reading
from meterlink.tables.ratios import reading_f
from meterlink.words.sentences import value_text
from meterlink.words.told import NOTHING, Told, told
from mobile import figures
from mobile.shot import Shot
from mobile.texts import t
from mobile.wave_state import wave_points


class Figure(NamedTuple):
    """A value in the parts that are set in different sizes: ``f/``, ``8``, ``+0.3``."""

    before: str = ""
    main: str = ""
    after: str = ""


_FIGURE = re.compile(r"^(f/)?(\S+)(?: (\S.*))?$")


def figure_of(text: str) -> Figure:
    """Split ``f/8 +0.3`` or ``12.3 lx·s`` into the parts of a figure."""
    found = _FIGURE.match(text)
    if found is None:
        return Figure(main=text)
    before, main, after = found.groups()
    return Figure(before or "", main or "", after or "")


def value_shown(shot: Shot, value: float, reading: Reading) -> str:
    """A value as f-number in the steps that the person likes, else with its unit."""
    if shot.view is None:
        return ""
    f = reading_f(value, reading, shot.view)
    return figures.format_f_number(f, shot.prefs.step) if f else value_text(shot.view, value, reading)


def second_of(shot: Shot) -> str:
    """The light that the last pop may be instead; empty when it is sure."""
    return str(shot.outcome.numbers.get("second", "")) if shot.outcome is not None and shot.outcome.kind == "logged" else ""


def last_pop(shot: Shot) -> dict[str, Any]:
    """The last pop: whose it was, what it gave, what that is worth and why."""
    last, outcome = shot.last, shot.outcome
    if outcome is not None and outcome.kind == "again":
        # A pop that was not taken belongs to the light that still waits, whatever was metered before it.
        name = outcome.light.name if outcome.light else t("metering.last_pop" if shot.any_order else "metering.all_lights")
        return _pop(name, outcome.light.id if outcome.light else "", verdict="retake", verdict_text=t("verdict.again"),
                    note=outcome.message)  # fmt: skip
    if last is None or shot.view is None:
        return _pop("", "", note=(". ".join(shot.before) or t("metering.no_pop")) if shot.setup else "")
    light = shot.light(last.light_id)
    name = light.name if light else t("metering.all_lights")
    figure, verdict, reason, judged = _worth(shot, last)
    correction = judged.correction_stops if judged is not None else None
    why = _why_again(shot, last, judged) if judged is not None and verdict == "retake" else ""
    ignored = outcome.message if outcome is not None and outcome.kind == "ignored" else ""
    if outcome is not None and outcome.code == OutcomeCode.NOT_LISTENING:
        ignored = t("metering.not_listening")
    warnings = " ".join(outcome.warnings) if outcome is not None else ""
    verdict_text = verdict_said = str(told(verdict)) if verdict else _sum_words(shot)[0] if last.purpose == Purpose.TOGETHER else ""
    if verdict == "corrected" and correction is not None and abs(correction) >= 0.05:
        verdict_text = t("verdict.corrected_by", stops=figures.format_stops(correction))
    return _pop(
        name,
        light.id if light else "",
        figure=figure,
        verdict=verdict,
        verdict_text=verdict_text,
        note=(note := ignored or _doubt(shot, name) or _righted(shot) or why or (t("metering.odd") if warnings else "")),
        reason=" ".join(filter(None, (warnings, reason if reason != note else ""))),
        lacks=lacks(judged) if judged is not None and light is not None and not light.source_light_id else "",
        wave=wave_points(shot.wave),
        wave_text=t("metering.t01", time=figures.format_duration(last.t01_s)) if last.t01_s else "",
        spoken=spoken(figure, _both(shot, name), "" if verdict == "good" else verdict_said),
    )


def _doubt(shot: Shot, name: str) -> str:
    second = shot.light(second_of(shot))
    return t("metering.or", first=name, second=second.name) if second is not None else ""


def _both(shot: Shot, name: str) -> str:
    second = shot.light(second_of(shot))
    return t("say.or", first=name, second=second.name) if second is not None else name


def _righted(shot: Shot) -> str:
    """That an earlier pop was given to another light, in one line."""
    outcome = shot.outcome
    return outcome.warnings[0] if outcome is not None and outcome.numbers.get("put_right") else ""


def _pop(name: str, light_id: str, **more: Any) -> dict[str, Any]:
    texts = dict.fromkeys(("verdict", "verdict_text", "note", "reason", "lacks", "wave_text", "spoken"), "")
    return {"last_name": name, "last_id": light_id, "figure": Figure(), "wave": (), **texts, **more}


def _remedy(judged: Judged) -> Told:
    """What would make a reading with too wide an interval usable; nothing for any other one."""
    parts = judged.said.values.get("parts", ()) if judged.why == Why.TOO_WIDE else ()
    return parts[-1] if parts and isinstance(parts[-1], Told) else NOTHING


def lacks(judged: Judged) -> str:
    """The field of its light that would save a reading without another pop; empty where none would."""
    return "distance" if judged.lacks_distance else "azimuth" if _remedy(judged).code == "say_where" else ""


def _why_again(shot: Shot, last: Reading, judged: Judged) -> str:
    """Why a pop is to be taken again, in one line: seen at once, for the next one is fired a moment later."""
    if judged.why == Why.HALF_WAY:
        return t("metering.too_far_off")
    what = {Why.TOO_WIDE: _remedy(judged), Why.CONTRADICTED: judged.against}.get(judged.why)
    if judged.why == Why.TOO_WIDE and last.held_off_m:
        return t("metering.off_because", length=figures.format_length(last.held_off_m, shot.prefs.imperial), what=str(what))
    return str(what or judged.said)


def _worth(shot: Shot, last: Reading) -> tuple[Figure, str, str, Judged | None]:
    """Figure, verdict, reason and judgement of the last reading; no verdict between the two pops of a reflector."""
    view = shot.view
    if last.purpose == Purpose.WITH:
        return figure_of(value_shown(shot, value_of(last) or 0.0, last)), "", "", None
    state = view.state(last.light_id) if view is not None and last.light_id else None
    if state is not None and state.judged is not None and state.reading is not None:
        own, reflector = state.reading.id == last.id, state.light.source_light_id is not None
        if own or reflector:
            judged = state.judged
            # Where no correction can be said it is shown as it was read.
            value = state.value if state.value is not None else value_of(state.reading)
            return figure_of(value_shown(shot, value or 0.0, state.reading)), judged.verdict, judged.reason, judged
    figure = figure_of(value_shown(shot, value_of(last) or 0.0, last))
    if state is None:
        return figure, "", _sum_words(shot)[1] if last.purpose == Purpose.TOGETHER else "", None
    said = state.stale_reason or state.missing
    return figure, "retake" if state.stale is not None else "", said, None


def _sum_words(shot: Shot) -> tuple[str, str]:
    """What the pop of all lights together told, in a word or two and in a sentence: what was found, or that nothing was."""
    found = next((one for one in shot.findings if one.kind in ("sum", "sum_missing", "prediction")), None)
    if found is None:
        return t("metering.sum_good"), t("metering.sum_agrees")
    return t("metering.sum_unchecked" if found.kind == "sum_missing" else "metering.sum_odd"), found.text


def spoken(figure: Figure, name: str, worth: str) -> str:
    """What is read out: ``KEY, f 8 plus 0.3``; what it is worth only when it is not simply good."""
    if not figure.main:
        return ""
    after = figure.after.replace("+", t("say.plus") + " ").replace("lx·s", t("say.lxs")).replace("lx", t("say.lx"))
    value = " ".join(part for part in (t("say.f") if figure.before else "", figure.main, after) if part)
    return ", ".join(filter(None, (name, value, worth)))
