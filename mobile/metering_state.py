"""What the metering screen shows: the light that is waited for, the live level, the last pop, its verdict.  No kivy.

``metering_look`` turns the desk's snapshot into texts; ``live_text`` does the same for steady light, which comes up to 50
times a second and so stays apart.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import inf
from typing import Any, NamedTuple

from meterlink.judging.judged_set import LightState
from meterlink.metering.afterwards import can_be_of
from meterlink.metering.nearness import Near, near
from meterlink.metering.outcome import OutcomeCode
from meterlink.metering.walk import Request
from meterlink.records import Light, Measurement, Purpose
from meterlink.records.kept import FACE
from meterlink.words.told import told, written
from mobile import figures
from mobile.desk import HELD_MAX_M, OWN_POINT, Shot
from mobile.held_state import held_text
from mobile.last_pop import Figure, last_pop, second_of
from mobile.light_fields import power_text
from mobile.texts import t

RECALLED = {"pop": "metering.recalled_pop", "said": "metering.recalled_said", "stored": "metering.recalled_stored"}


class Chip(NamedTuple):
    """One step of the walk."""

    light_id: str
    name: str
    verdict: str
    """Empty as long as it has no current reading."""
    waiting: bool


class ScaleLook(NamedTuple):
    """The scale of held-off distances: where it turns from good to corrected and from corrected to retake, in metres."""

    good_m: float | None = None
    usable_m: float | None = None
    """None: cannot be said, for the light's own distance is not known."""
    longest_m: float = HELD_MAX_M


class Next(NamedTuple):
    """The one thing to do next, as a tap."""

    act: str = ""
    """``begin``, ``start``, ``light``, ``set``, ``sensors``; empty for none: the pop is next."""
    text: str = ""
    light_id: str = ""


class MeteringLook(NamedTuple):
    """Everything on the screen but the live level."""

    waiting_id: str
    headline: str
    """The light to be metered, as large as its number."""
    instruction: str
    step: str
    following: str
    chips: tuple[Chip, ...]
    all_ready: bool
    """There are two lights on the face, so that all together can be asked for."""
    next: Next
    scale: ScaleLook
    held_id: str
    """The light that the scale of distances belongs to."""
    held_off_m: float | None
    held_text: str
    held_title: str
    can_hold: bool
    recalled: str
    """How far off the dome is taken to be for the pop to come, and since when: remembered, not said for it."""
    hold_at_point: str
    """What takes it at the point instead; empty where nothing is remembered."""
    power: str
    can_power: bool
    last_name: str
    last_id: str
    figure: Figure
    verdict: str
    verdict_text: str
    note: str
    """One short line that must be seen at once: why a pop was not taken."""
    reason: str
    """Why the verdict is so, one touch deeper."""
    wave: tuple[tuple[float, float], ...]
    wave_text: str
    again: str
    """What takes a rejected pop again, or what saves it; empty when it was not, or its light waits already."""
    lacks: str
    """The light's field that would save the rejected pop: ``distance`` or ``azimuth``; empty where only another pop does."""
    can_take_back: bool
    second: str
    """The light that the last pop may be instead, for one tap; empty when whose it is is sure."""
    give_to: tuple[tuple[str, str], ...]
    """(light id, name) of the lights that the last reading could be given to."""
    spoken: str
    """What is read out when this reading is new."""


def valid(state: LightState) -> bool:
    """Whether a light has a reading that counts: of where it stands now, and not to be taken again."""
    return state.judged is not None and state.stale is None and state.judged.verdict != "retake"


def unmetered(shot: Shot) -> tuple[LightState, ...]:
    """Return the lights without a valid reading, in their order."""
    return tuple(s for s in shot.view.lights if not valid(s)) if shot.view else ()


def complete(shot: Shot) -> bool:
    """Whether every light of the set has a valid reading."""
    return shot.view is not None and bool(shot.view.lights) and not unmetered(shot)


def metering_look(shot: Shot, *, lost: bool = False) -> MeteringLook:
    """Turn the snapshot into what is shown; ``lost`` says that the sensor in use is not there."""
    waiting = shot.waiting
    light = shot.light(waiting.light_id) if waiting else None
    state = shot.view.state(light.id) if shot.view and light else None
    pop = last_pop(shot)
    waits = (shot.free if shot.any_order else (light.id,)) if light is not None else ()
    rejected = pop["verdict"] == "retake" and pop["last_id"] and pop["last_id"] not in waits
    held_light = shot.light(shot.held_id)
    held = _held(shot)
    together = held_light is None and waiting is not None and waiting.purpose == Purpose.TOGETHER
    missing = unmetered(shot)
    following = Next("sensors", t("metering.to_sensors")) if lost else _next(shot, waiting, missing)
    if rejected and following.light_id == pop["last_id"]:
        following = Next()  # the button beside the pop asks for the same
    return MeteringLook(
        waiting_id=light.id if light else "",
        headline=t("metering.lost") if lost else t("metering.any_order") if shot.any_order else _headline(shot, waiting, missing),
        instruction=t("metering.lost_hint") if lost else _any_order(shot) or _instruction(shot, waiting, missing, pop),
        step=_step(shot, light),
        following=_following(shot),
        chips=_chips(shot),
        all_ready=sum(1 for one in shot.lights if one.role not in OWN_POINT and not one.source_light_id) > 1,
        next=following,
        scale=ScaleLook(dict(shot.limits).get(held_light.id), dict(shot.usable).get(held_light.id)) if held_light else ScaleLook(),
        held_id=held_light.id if held_light else "",
        held_off_m=held,
        held_text=held_text(held, shot.prefs.imperial),
        held_title=t("metering.held_title", point=_point(waiting)) if together else _held_title(held_light, light),
        can_hold=held_light is not None or together,
        recalled=_recalled(shot),
        hold_at_point=_at_point(shot),
        power=_power(light, state),
        can_power=light is not None and light.source_light_id is None,
        again=_again(pop) if (rejected or pop["lacks"]) and not lost else "",
        can_take_back=shot.last is not None,
        second=second.name if (second := shot.light(second_of(shot))) is not None and not lost else "",
        give_to=_give_to(shot),
        **pop,
    )


def _step(shot: Shot, light: Light | None) -> str:
    """Which of the set's lights waits, as they stand in the row of the walk; a reflector's two pops are one light."""
    if light is None or shot.any_order:
        return ""
    return t("metering.step", number=shot.lights.index(light) + 1, count=len(shot.lights))


def _held(shot: Shot) -> float | None:
    """The distance that is used: the request's where the light still waits, else the reading's."""
    if shot.waiting is not None and (shot.waiting.light_id or "") == shot.held_id:
        return shot.waiting.held_off_m
    state = shot.view.state(shot.held_id) if shot.view and shot.held_id else None
    return state.reading.held_off_m if state is not None and state.reading is not None else None


def _held_title(light: Light | None, waiting: Light | None) -> str:
    """What the scale is of; the light's name where it is not the one that stands on top."""
    if light is None:
        return ""
    title = t("metering.held_title", point=written(light.point, "point"))
    return title if light is waiting else t("lights.value", label=light.name, value=title)


def _point(waiting: Request | None) -> str:
    return written(waiting.point if waiting is not None else FACE, "point")


def _power(light: Light | None, state: LightState | None) -> str:
    if light is None or state is None:
        return ""
    return (power_text(light, state.placement) if state.placement else "") or t("metering.power_unknown")


def _next(shot: Shot, waiting: Request | None, missing: tuple[LightState, ...]) -> Next:
    if shot.setup is None:
        return Next("begin", t("library.new"))
    if waiting is not None:
        return Next()
    if not missing and shot.lights:
        return Next("set", t("metering.show_set"))
    if missing and len(missing) < len(shot.lights):
        return Next("light", t("set.do_meter", name=missing[0].light.name), missing[0].light.id)
    return Next("start", t("metering.start"))


def _headline(shot: Shot, waiting: Request | None, missing: tuple[LightState, ...]) -> str:
    if shot.setup is None:
        return t("metering.no_set")
    if waiting is None:
        count = len(shot.lights)
        if not count or len(missing) == count:
            return t("metering.nothing")
        return t("metering.part", number=count - len(missing), count=count) if missing else t("metering.done")
    if waiting.purpose == "room":
        return t("metering.room")
    light = shot.light(waiting.light_id)
    return light.name if light else t("metering.all_lights")


def _at_point(shot: Shot) -> str:
    """The button that has the dome at its point instead of where it is remembered to have been; empty where there is none."""
    return t("metering.hold_at_point") if any(one.can_change for one in shot.recalled) else ""


def _instruction(shot: Shot, waiting: Request | None, missing: tuple[LightState, ...], pop: dict[str, Any]) -> str:
    if waiting is None:
        if not shot.setup:
            return t("metering.no_set_hint")
        if missing and len(missing) < len(shot.lights):
            return t("metering.missing", names=", ".join(s.light.name for s in missing))
        return t("metering.begin_hint") if missing else t("metering.complete_hint")
    light = shot.light(waiting.light_id)
    if waiting.purpose in ("with", "without") and light is not None:
        source = shot.light(light.source_light_id)
        aim = light.name if waiting.aim == "light" else told(f"aim_{waiting.aim}")
        return t(f"metering.fire_{waiting.purpose}", source=source.name if source else "", name=light.name, aim=aim)
    if light is None:
        return t("metering.fire_all", names=", ".join(x.name for x in map(shot.light, waiting.lit) if x))
    state = shot.view.state(light.id) if shot.view else None
    rejected = pop["last_id"] == light.id and pop["verdict"] == "retake"
    again = rejected or (state is not None and state.reading is not None)
    if rejected and _at_point(shot) and (waiting.held_off_m or 0.0) > dict(shot.usable).get(light.id, inf):
        # The distance stays until she says otherwise: a pop at the face would be taken for one as far off as the last.
        fire = t("metering.fire_again_nearer", name=light.name, button=_at_point(shot))
    elif waiting.held_off_m:
        length = figures.format_length(waiting.held_off_m, shot.prefs.imperial)
        fire = t("metering.fire_again_off" if again else "metering.fire_off", name=light.name, length=length)
    else:
        fire = t("metering.fire_again" if again else "metering.fire", name=light.name, point=_point(waiting))
    return ". ".join(filter(None, (shot.to_change, fire)))


def _any_order(shot: Shot) -> str:
    """What to fire where any of several will do, after what must be known beforehand.

    Where one certain light is next, that alone: that it must be first, and why.  Empty where there is nothing to say.
    """
    if not shot.any_order:
        # Before the first pop of all it stands where that one will: how the dome is held is to be read here.
        return ". ".join(shot.before) if shot.last is not None else ""
    return ". ".join((*shot.before, t("metering.fire_any", names=_names_held(shot, shot.free))))


def _names_held(shot: Shot, light_ids: Iterable[str]) -> str:
    """Names of lights, each with how far off its point the dome is to be, where that is not at it."""
    held = {one.light_id: one.held_off_m for one in shot.requests if one.light_id and one.held_off_m}
    return ", ".join(
        t("metering.name_off", name=light.name, length=figures.format_length(held[light.id], shot.prefs.imperial))
        if light.id in held
        else light.name
        for light in map(shot.light, light_ids)
        if light is not None
    )


def _recalled(shot: Shot) -> str:
    """The distances that nobody said for the pop to come, and since when they are so."""
    if len(shot.recalled) > 1 or (shot.recalled and shot.any_order):
        return t("metering.recalled_several", names=_names_held(shot, [one.light_id for one in shot.recalled]))
    for one in shot.recalled:
        stored = shot.stored.setup.name if shot.stored is not None else ""
        length = figures.format_length(one.held_off_m, shot.prefs.imperial)
        return t(RECALLED[one.since], length=length, name=stored)
    return ""


def _again(pop: dict[str, Any]) -> str:
    """What makes a rejected pop good: a word about its light, else another pop."""
    does = {"": "metering.again", "distance": "set.do_distance", "azimuth": "set.do_azimuth"}
    return t(does[pop["lacks"]], name=pop["last_name"])


def _give_to(shot: Shot) -> tuple[tuple[str, str], ...]:
    """Lights that the last pop may be given to, the likeliest first."""
    if shot.outcome is not None and shot.outcome.code == OutcomeCode.FITS_NONE:
        return tuple((one.id, one.name) for one in shot.lights if one.id in {r.light_id for r in shot.requests})
    if shot.last is None:
        return ()
    second = second_of(shot)
    others = [one for one in shot.lights if one.id != shot.last.light_id and can_be_of(shot.last, one)]
    return tuple((one.id, one.name) for one in sorted(others, key=lambda one: one.id != second))


def _following(shot: Shot) -> str:
    light = shot.light(shot.following.light_id) if shot.following and not shot.any_order else None
    # A light that needs two pops (a reflector) is not announced while it is the one that waits.
    if light is not None and shot.waiting is not None and light.id != shot.waiting.light_id:
        return t("metering.then", name=light.name)
    return t("metering.skip") if shot.waiting is not None else ""


def _chips(shot: Shot) -> tuple[Chip, ...]:
    if shot.view is None:
        return ()
    waiting = set(shot.free) if shot.any_order else {shot.waiting.light_id} if shot.waiting else set()
    return tuple(
        # In any order all that may come wait, each empty until its pop is heard, whatever it gave before.
        Chip(s.light.id, s.light.name, "" if shot.any_order and s.light.id in waiting else _verdict(s), s.light.id in waiting)
        for s in shot.view.lights
    )


def _verdict(state: LightState) -> str:
    return state.judged.verdict if state.judged else ""


# -- live level ---------------------------------------------------------------------------------------------------


def live_text(illuminance_lx: float | None, clipped: bool = False, least_lx: float = 0.0) -> str:
    """Return the live light in words; empty when there is none.  Below ``least_lx`` the range tells only that it is less."""
    if illuminance_lx is None or illuminance_lx != illuminance_lx:
        return ""
    if clipped:
        return t("metering.live_clipped")
    if illuminance_lx < least_lx:
        return t("metering.live_below", value=figures.format_illuminance(least_lx))
    return t("metering.live", value=figures.format_illuminance(max(illuminance_lx, 0.0)))


def near_of(shot: Shot, level: Measurement | None) -> Near | None:
    """Where the dome is by its range finder, and what that is worth for the lights that may fire; None without one."""
    if level is None:
        return None
    good, usable = dict(shot.limits), dict(shot.usable)
    names = {one.id: one.name for one in shot.lights}
    return near(level, [(good.get(one), usable.get(one), names.get(one, "")) for one in shot.free])
