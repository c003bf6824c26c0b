"""What the shutter keeps of each flash at the set-up's time: slow flashes, and times beyond the sync speed."""

from __future__ import annotations

from collections.abc import Iterable
from math import exp2, isfinite, log2
from typing import NamedTuple

from meterlink import units
from meterlink.checks.facts import Camera, camera
from meterlink.checks.findings import CAUTION, NOTE, Finding, register
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.photometry import flash, shutter
from meterlink.photometry.series import THIRD_TIMES, time_exact_s

__all__ = ["Loss", "beyond_sync", "loss_of", "shutter_losses"]

VISIBLE_STOPS = 0.1
SLOWEST_S = 1 / 15
"""A slower shutter than this is no advice for people."""
LOOK_CLOSER_STOPS = 0.02
"""From this loss of an exponential of the same t0.1 on, the kept waveform is looked at."""


class Loss(NamedTuple):
    """What a light loses at the shutter."""

    light: str
    t01_s: float
    kept: shutter.Kept
    train: bool
    """Many pulses in a row (high-speed sync): each row gets only those during its own time."""
    from_waveform: bool


def loss_of(state: LightState, view: JudgedSet, at: shutter.Shutter) -> Loss | None:
    """Return what a light's flash loses at a shutter, from its kept waveform, else from t0.1 as an exponential.

    None for steady light and for readings without a duration.
    """
    reading = state.reading
    if reading is None or reading.kind != "flash" or not reading.t01_s or reading.t01_s <= 0.0:
        return None
    kept = shutter.kept_of_t01(at, reading.t01_s)
    if kept.least > 0.0 and kept.loss_stops > -LOOK_CLOSER_STOPS:
        return Loss(state.light.name, reading.t01_s, kept, False, False)
    return _by_waveform(state, view, at) or Loss(state.light.name, reading.t01_s, kept, False, False)


def _by_waveform(state: LightState, view: JudgedSet, at: shutter.Shutter) -> Loss | None:
    """The same from the samples; None when there are none, or nothing follows from them."""
    reading = state.reading
    wave = view.waves(reading.id) if view.waves is not None and reading is not None else None
    if wave is None or reading is None or reading.t01_s is None:
        return None
    times, light = wave
    if len(times) < 4:
        return None
    try:
        found = flash.analyse(light, times - times[0])
        if found.kind == "train":
            share = min(1.0, shutter.train_exposure_lxs(max(found.mean_lx, 0.0), at) / found.exposure_lxs)
            kept = shutter.Kept(share, share, share, 0.0, 0.0)
            return Loss(state.light.name, reading.t01_s, kept, True, True)
        above = [max(float(value) - found.ambient_lx, 0.0) for value in light]
        start = float(times[0]) + found.start_s
        return Loss(state.light.name, reading.t01_s, shutter.kept_of_wave(at, times.tolist(), above, start), False, True)
    except (ValueError, ZeroDivisionError):
        return None


@register
def shutter_losses(view: JudgedSet) -> Iterable[Finding]:
    """Times beyond the sync speed, and flashes that are longer than the shutter stays open."""
    facts = camera(view.setup, view.settings)
    at = facts.shutter
    flashes = [one for one in view.lights if one.reading is not None and one.reading.kind == "flash"]
    if at is None or not flashes:
        return
    if facts.readout_unknown:
        yield Finding(
            "shutter", NOTE + 0.45, "",
            "the readout time of the electronic shutter is not given: what it keeps of a flash cannot be said",
            "meterlink setup change --curtain-travel 20ms (its readout time; 0 for a global shutter)", {},
        )  # fmt: skip
        return
    losses = _losses(view, at)
    beyond = beyond_sync(view, losses)
    if beyond is not None:
        yield beyond
        return
    for loss in losses:
        if loss.kept.least <= 0.0 or loss.kept.loss_stops < -VISIBLE_STOPS:
            yield _train(loss, at) if loss.train else _slow(loss, at, facts, view)


def _losses(view: JudgedSet, at: shutter.Shutter) -> list[Loss]:
    found = (loss_of(one, view, at) for one in view.lights if one.reading is not None and one.reading.kind == "flash")
    return [loss for loss in found if loss is not None]


def beyond_sync(view: JudgedSet, losses: list[Loss] | None = None) -> Finding | None:
    """Return what the set-up's shutter time does to flashes when it is beyond the sync speed, None when it is not.

    Whoever tells the camera's settings says this with them.  Heads that all pulse (high-speed sync) have no sync speed.
    """
    facts = camera(view.setup, view.settings)
    flashes = sum(one.reading is not None and one.reading.kind == "flash" for one in view.lights)
    at = facts.shutter
    if at is None or not flashes or facts.readout_unknown or not shutter.caution(at, facts.sync_speed_s):
        return None
    losses = _losses(view, at) if losses is None else losses
    if sum(loss.train for loss in losses) == flashes:
        return None
    return _beyond_sync(facts, at, losses)


def _beyond_sync(facts: Camera, at: shutter.Shutter, losses: list[Loss]) -> Finding:
    dark = max((loss.kept.dark_share for loss in losses), default=0.0)
    amount = f"about {dark:.0%} of the frame gets no flash" if dark > 0.02 else "a part of the frame may stay dark"
    given = "" if "--sync" not in facts.assumed else " (common practice; your camera's own: meterlink setup change --sync 1/250)"
    return Finding(
        "sync",
        CAUTION + 0.8,
        "",
        f"{units.format_shutter(at.time_s)} is faster than the sync speed of {units.format_shutter(facts.sync_speed_s)}: "
        + amount
        + given,
        f"meterlink setup change --shutter {_typed(facts.sync_speed_s)}, or heads and trigger with high-speed sync",
        {"shutter_s": at.time_s, "sync_speed_s": facts.sync_speed_s, "dark_share": dark, "assumed": list(facts.assumed)},
    )


def _numbers(loss: Loss, at: shutter.Shutter, facts: tuple[str, ...]) -> dict[str, object]:
    stops = loss.kept.loss_stops
    return {
        "t01_s": loss.t01_s,
        "shutter_s": at.time_s,
        "fully_open_s": shutter.fully_open_s(at),
        "loss_stops": stops if isfinite(stops) else None,
        "mean_loss_stops": log2(loss.kept.mean) if loss.kept.mean > 0.0 else None,
        "band_share": loss.kept.band_share,
        "dark_share": loss.kept.dark_share,
        "from_waveform": loss.from_waveform,
        "assumed": list(facts),
    }


def _train(loss: Loss, at: shutter.Shutter) -> Finding:
    stops = loss.kept.loss_stops
    lost = f"{-stops:.1f} stops less" if isfinite(stops) else "next to nothing"
    return Finding(
        "pulse_train",
        CAUTION + 0.7,
        loss.light,
        f"{loss.light} pulses (high-speed sync): at {units.format_shutter(at.time_s)} the picture gets {lost} than the pop read",
        "open up by that much, or take the mean level as steady light: it grows with the shutter time",
        _numbers(loss, at, ()),
    )


def _slow(loss: Loss, at: shutter.Shutter, facts: Camera, view: JudgedSet) -> Finding:
    kept, duration = loss.kept, units.format_duration(loss.t01_s)
    stops = "all of it" if kept.least <= 0.0 else f"{-kept.loss_stops:.1f} stop"
    if kept.band_share == 0.0:
        how = f"loses {stops} evenly"
    else:
        how = f"loses up to {stops} as a darker band over {kept.band_share:.0%} of the frame"
    open_for = units.format_duration(max(shutter.window_s(at), 1e-6)) if shutter.window_s(at) > 0.0 else "no time at all"
    text = f"{loss.light} (t0.1 {duration}) {how} at {units.format_shutter(at.time_s)}: the frame stays open for {open_for} of it"
    if facts.assumed:
        text += f" (assumed: {_assumed(facts.assumed)})"
    advice, numbers = _advice(loss, at, view), _numbers(loss, at, facts.assumed)
    rank = CAUTION + min(0.6, 0.3 + (-kept.loss_stops / 10 if kept.least > 0.0 else 0.3))
    return Finding("slow_flash", rank, loss.light, text, advice, numbers)


def _assumed(flags: tuple[str, ...]) -> str:
    words = {"--shutter-kind": "focal-plane shutter", "--sync": "sync speed", "--curtain-travel": "curtain travel"}
    return ", ".join(words[flag] for flag in flags)


def _advice(loss: Loss, at: shutter.Shutter, view: JudgedSet) -> str:
    """The longest step down that is needed, and what it costs; an even loss may also be opened up for."""
    state = next((one for one in view.lights if one.light.name == loss.light), None)
    better = _slower(state, view, at) if state is not None else None
    power = "a shorter flash (cut-off heads at lower power) helps too"
    if better is None:
        return power
    room = log2(better / at.time_s)
    advice = f"meterlink setup change --shutter {_typed(better)}: the room light comes up by {room:.1f} stop; {power}"
    if loss.kept.band_share == 0.0 and loss.kept.least > 0.0:
        return f"open up by {-loss.kept.loss_stops:.1f} stop, or {advice}"
    return advice


def _slower(state: LightState, view: JudgedSet, at: shutter.Shutter) -> float | None:
    """Shortest nominal time, longer than now, at which nothing visible is lost; None up to the slowest that makes sense."""
    times = sorted({time_exact_s(1 / -nominal) for nominal in THIRD_TIMES if nominal < 0 and -nominal >= 1 / SLOWEST_S})
    for time_s in times:
        if time_s <= at.time_s * exp2(0.1):
            continue
        loss = loss_of(state, view, at._replace(time_s=time_s))
        if loss is not None and loss.kept.least > 0.0 and loss.kept.loss_stops >= -VISIBLE_STOPS / 2:
            return time_s
    return None


def _typed(time_s: float) -> str:
    """A time as it is typed: ``1/125``."""
    return units.format_shutter(time_s).removesuffix(" s")
