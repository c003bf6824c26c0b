"""What the metering screen shows: the light that is waited for, the live level, the last pop, its verdict.  No kivy.

``metering_look`` turns the desk's snapshot into texts; ``live_look`` does the same for steady light, which comes up to 50
times a second and so stays apart; ``HeldSlider`` is the arithmetic of the held-off slider.
"""

from __future__ import annotations

import re
from math import log2
from typing import NamedTuple

from meterlink import units
from meterlink.judging.view import LightState, value_of
from meterlink.metering.outcome import OutcomeKind
from meterlink.metering.walk import Request
from meterlink.records import Reading, WaveBlock
from meterlink.tables.ratios import reading_f
from meterlink.words.sentences import value_text
from mobile.desk import HELD_MAX_M, Desk, Shot
from mobile.saying import without_commands
from mobile.texts import t

VERDICTS = ("good", "corrected", "retake")
HAND_M = 0.1
"""One mark of the slider: a hand's breadth with the thumb (common practice, no published source: 9 to 10 cm)."""
WAVE_POINTS = 160


class Figure(NamedTuple):
    """A value in the parts that are set in different sizes: ``f/``, ``8``, ``+0.3``."""

    before: str = ""
    main: str = ""
    after: str = ""


class Chip(NamedTuple):
    """One step of the walk."""

    light_id: str
    name: str
    verdict: str
    """Empty as long as it has no current reading."""
    waiting: bool


class MeteringLook(NamedTuple):
    """Everything on the screen but the live level."""

    has_set: bool
    waiting_id: str
    headline: str
    """The light to be metered, in big type."""
    instruction: str
    role: str
    step: str
    following: str
    limit: str
    chips: tuple[Chip, ...]
    last_name: str
    figure: Figure
    verdict: str
    sentence: str
    warning: str
    wave: tuple[tuple[float, float], ...]
    wave_text: str
    held_off_m: float | None
    held_text: str
    can_take_back: bool
    give_to: tuple[tuple[str, str], ...]
    """(light id, name) of the lights that the last reading could be given to."""
    done: bool
    spoken: str
    """What is read out when this reading is new."""


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
    return units.format_f_number(f, shot.prefs.step) if f else value_text(shot.view, value, reading)


def metering_look(shot: Shot) -> MeteringLook:
    """Turn the snapshot into what is shown."""
    waiting, last = shot.waiting, shot.last
    light = shot.light(waiting.light_id) if waiting else None
    state = shot.view.state(last.light_id) if shot.view and last and last.light_id else None
    figure, verdict, sentence = _last_pop(shot, state)
    outcome = shot.outcome
    if outcome is not None and outcome.kind != OutcomeKind.LOGGED:
        sentence, verdict = outcome.message, "retake" if outcome.kind == OutcomeKind.AGAIN else verdict
    held = shot.held_off(light.id if light else None)
    return MeteringLook(
        has_set=shot.setup is not None,
        waiting_id=light.id if light else "",
        headline=_headline(shot, waiting),
        instruction=_instruction(shot, waiting),
        role=t(f"role.{light.role}") if light else "",
        step=t("metering.step", number=shot.position + 1, count=len(shot.requests)) if waiting else "",
        following=_following(shot),
        limit=limit_text(shot, light.id if light else ""),
        chips=_chips(shot),
        last_name=_last_name(shot, last),
        figure=figure,
        verdict=verdict,
        sentence=sentence,
        warning=" ".join(map(without_commands, outcome.warnings)) if outcome else "",
        wave=wave_points(shot.wave),
        wave_text=t("metering.t01", time=units.format_duration(last.t01_s)) if last and last.t01_s else "",
        held_off_m=held,
        held_text=held_text(held, shot.prefs.imperial),
        can_take_back=last is not None,
        give_to=tuple((one.id, one.name) for one in shot.lights if last and one.id != last.light_id),
        done=shot.done,
        spoken=spoken(figure, _last_name(shot, last), verdict),
    )


def _headline(shot: Shot, waiting: Request | None) -> str:
    if shot.setup is None:
        return t("metering.no_set")
    if waiting is None:
        return t("metering.done") if shot.done else t("metering.nothing")
    if waiting.purpose == "room":
        return t("metering.room")
    light = shot.light(waiting.light_id)
    return light.name if light else t("metering.all_lights")


def _instruction(shot: Shot, waiting: Request | None) -> str:
    if waiting is None:
        return t("metering.begin_hint") if shot.setup else t("metering.no_set_hint")
    light = shot.light(waiting.light_id)
    if waiting.purpose in ("with", "without") and light is not None:
        source = shot.light(light.source_light_id)
        return t(f"metering.fire_{waiting.purpose}", source=source.name if source else "", name=light.name)
    if light is None:
        return t("metering.fire_all", names=", ".join(x.name for x in map(shot.light, waiting.lit) if x))
    where = waiting.point if waiting.point != "face" else t("point.face")
    return t("metering.fire", point=where)


def _following(shot: Shot) -> str:
    light = shot.light(shot.following.light_id) if shot.following else None
    return t("metering.then", name=light.name) if light else ""


def _chips(shot: Shot) -> tuple[Chip, ...]:
    if shot.view is None:
        return ()
    waiting_id = shot.waiting.light_id if shot.waiting else None
    return tuple(
        Chip(s.light.id, s.light.name, s.judged.verdict if s.judged else "", s.light.id == waiting_id)
        for s in shot.view.lights
    )


def _last_name(shot: Shot, last: Reading | None) -> str:
    if last is None:
        return ""
    light = shot.light(last.light_id)
    return light.name if light else t("metering.all_lights")


def _last_pop(shot: Shot, state: LightState | None) -> tuple[Figure, str, str]:
    """Figure, verdict and sentence of the last reading."""
    last = shot.last
    if last is None or shot.view is None:
        return Figure(), "", t("metering.no_pop") if shot.setup else ""
    current = state is not None and state.judged is not None and state.reading is not None
    own = current and state.reading.id == last.id  # type: ignore[union-attr]
    reflector = current and state.light.source_light_id is not None  # type: ignore[union-attr]
    if own or reflector:
        text = value_shown(shot, state.value or 0.0, state.reading)  # type: ignore[union-attr,arg-type]
        return figure_of(text), state.judged.verdict, without_commands(state.judged.reason)  # type: ignore[union-attr]
    text = value_shown(shot, value_of(last) or 0.0, last)
    said = without_commands(state.stale_reason or state.missing, otherwise="") if state is not None else ""
    return figure_of(text), "retake" if state is not None and state.stale is not None else "", said


def spoken(figure: Figure, name: str, verdict: str) -> str:
    """What is read out: ``KEY: f 8 plus 0.3, corrected``."""
    if not figure.main:
        return ""
    after = figure.after.replace("+", t("say.plus") + " ")
    value = " ".join(part for part in (t("say.f") if figure.before else "", figure.main, after) if part)
    return t("say.reading", name=name, value=value, verdict=t(f"verdict.{verdict}") if verdict else "").strip(" ,")


def limit_text(shot: Shot, light_id: str) -> str:
    """``keep the dome within 5 cm of the face``; empty when it cannot be said."""
    within = dict(shot.limits).get(light_id)
    light = shot.light(light_id)
    if within is None or light is None:
        return ""
    point = light.point if light.point != "face" else t("point.face")
    if within >= HELD_MAX_M:
        return t("metering.anywhere", length=units.format_length(HELD_MAX_M, shot.prefs.imperial), point=point)
    return t("metering.within", length=shortened(within, shot.prefs.imperial), point=point)


def shortened(length_m: float, imperial: bool) -> str:
    """A limit in whole centimetres or half inches, rounded down: the advice must stay on the safe side."""
    step_m = 0.0127 if imperial else 0.01
    return units.format_length(int(length_m / step_m + 1e-6) * step_m, imperial)


def held_text(held_off_m: float | None, imperial: bool) -> str:
    """The slider's value in words; not given is not zero."""
    if held_off_m is None:
        return t("metering.held_unknown")
    if held_off_m == 0:
        return t("metering.held_zero")
    return t("metering.held", length=units.format_length(held_off_m, imperial))


# -- live level ---------------------------------------------------------------------------------------------------


class LiveLook(NamedTuple):
    """The live level: its text, and how far the bar is filled from 0 to 1."""

    text: str
    fraction: float


LIVE_LOW_LX, LIVE_HIGH_LX = 0.5, 32000.0


def live_look(illuminance_lx: float | None, clipped: bool = False) -> LiveLook:
    """Return the live level on a scale of stops from 0.5 lx (empty) to 32,000 lx (full)."""
    if illuminance_lx is None or illuminance_lx != illuminance_lx:
        return LiveLook(t("metering.live_none"), 0.0)
    if clipped:
        return LiveLook(t("metering.live_clipped"), 1.0)
    span = log2(LIVE_HIGH_LX / LIVE_LOW_LX)
    fraction = log2(max(illuminance_lx, LIVE_LOW_LX) / LIVE_LOW_LX) / span
    return LiveLook(t("metering.live", value=units.format_illuminance(max(illuminance_lx, 0.0))), min(fraction, 1.0))


# -- waveform -----------------------------------------------------------------------------------------------------


def wave_points(block: WaveBlock | None, count: int = WAVE_POINTS) -> tuple[tuple[float, float], ...]:
    """Return at most ``count`` points of a captured flash, time and light from 0 to 1.

    Each point is the highest sample of its slot, so that a short peak is never dropped; time is true also where the
    sample interval changes within the block.
    """
    if block is None or block.bits not in (8, 16):
        return ()
    width = block.bits // 8
    total = len(block.data) // width
    if total < 2:
        return ()
    values = memoryview(block.data[: total * width]).cast("B" if width == 1 else "H")
    high = max(values) or 1
    times = _times(block, total)
    end = times[-1] or 1.0
    step = max(1, -(-total // count))
    points = []
    for first in range(0, total, step):
        best = max(range(first, min(first + step, total)), key=values.__getitem__)
        points.append((times[best] / end, values[best] / high))
    return tuple(points)


def _times(block: WaveBlock, total: int) -> list[float]:
    """Time of each sample in seconds from the first."""
    intervals = [0.0] * total
    for segment in block.segments:
        for i in range(max(segment.start, 0), min(segment.start + segment.sample_count, total)):
            intervals[i] = segment.sample_interval_s
    times, now = [], 0.0
    for i, interval in enumerate(intervals):
        times.append(now)
        now += interval or (intervals[i - 1] if i else 1.0) or 1.0
    return times


# -- the held-off slider ------------------------------------------------------------------------------------------


class HeldSlider(NamedTuple):
    """The slider: its left end is a place of its own, *not given*; then 0 to the longest length in steps of 1 cm."""

    longest_m: float = HELD_MAX_M
    unknown_part: float = 0.1
    """Part of the slider that means *not given*."""

    def held_at(self, fraction: float) -> float | None:
        """Return the held-off distance at a place on the slider, 0 (left) to 1."""
        if fraction < self.unknown_part:
            return None
        part = (min(fraction, 1.0) - self.unknown_part) / (1 - self.unknown_part)
        return round(part * self.longest_m, 2)

    def fraction_of(self, held_off_m: float | None) -> float:
        """Return the place of a held-off distance; longer ones stand at the right end."""
        if held_off_m is None:
            return self.unknown_part / 2
        return self.unknown_part + min(held_off_m / self.longest_m, 1.0) * (1 - self.unknown_part)

    def hands(self) -> tuple[float, ...]:
        """Return the places of the hand-breadth marks."""
        count = int(self.longest_m / HAND_M + 1e-9)
        return tuple(self.fraction_of(HAND_M * n) for n in range(count + 1))


def held_typed(text: str, imperial: bool) -> float | None:
    """Return a typed held-off distance in metres; empty is not given; a bare number is in cm (or inches)."""
    text = text.strip()
    return None if not text else units.parse_length(with_unit(text, imperial), "held-off distance", 0.0, 50.0)


def with_unit(text: str, imperial: bool, metric: str = "cm", inch: str = "in") -> str:
    """Give a bare number the unit that the field shows; anything else stays as typed."""
    plain = text.strip().replace(",", ".")
    return plain + (inch if imperial else metric) if re.fullmatch(r"\d+(\.\d*)?|\.\d+", plain) else text


def held_changed(desk: Desk, light_id: str, text: str) -> Shot:
    """Take a typed held-off distance for a light."""
    return desk.hold_off(light_id, held_typed(text, desk.prefs.imperial))
