"""What the shutter keeps of each flash at the set-up's time: slow flashes, and times beyond the sync speed."""

from __future__ import annotations

from collections.abc import Iterable
from math import exp2, isfinite, log2
from typing import NamedTuple

from meterlink import units
from meterlink.checks.facts import Camera, camera
from meterlink.checks.findings import CAUTION, FINE, NOTE, Finding
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.photometry import flash, shutter
from meterlink.photometry.series import THIRD_TIMES, time_exact_s
from meterlink.records import Reading
from meterlink.words.actions import Do
from meterlink.words.told import NOTHING, Told, told

VISIBLE_STOPS = 0.1
SLOWEST_S = 1 / 15
"""A slower shutter than this is no advice for people."""
LOOK_CLOSER_STOPS = 0.02
"""From this loss of an exponential of the same t0.1 on, the kept waveform is looked at."""
_ASSUMED = {"--shutter-kind": "assumed_kind", "--sync": "assumed_sync", "--curtain-travel": "assumed_travel"}


class Loss(NamedTuple):
    """What a light loses at the shutter."""

    state: LightState
    t01_s: float
    kept: shutter.Kept
    train: bool
    """Many pulses in a row (high-speed sync): each row gets only those during its own time."""
    from_waveform: bool

    @property
    def seen(self) -> bool:
        """Whether it shows in the picture."""
        return self.kept.loss_stops < -VISIBLE_STOPS


def loss_of(state: LightState, view: JudgedSet, at: shutter.Shutter) -> Loss | None:
    """Return what a light's flash loses at a shutter, from its kept waveform, else from t0.1 as an exponential.

    None for steady light and for readings without a duration.
    """
    reading = state.reading
    if reading is None or reading.kind != "flash" or not reading.t01_s or reading.t01_s <= 0.0:
        return None
    kept = shutter.kept_of_t01(at, reading.t01_s)
    closer = _of_waveform(reading, view, at) if kept.loss_stops <= -LOOK_CLOSER_STOPS else None
    kept, train = closer or (kept, False)
    return Loss(state, reading.t01_s, kept, train, closer is not None)


def _of_waveform(reading: Reading, view: JudgedSet, at: shutter.Shutter) -> tuple[shutter.Kept, bool] | None:
    """What is kept of the samples, and whether they are a train; None when there are none, or nothing follows from them."""
    wave = view.waves(reading.id) if view.waves is not None else None
    if wave is None or len(wave[0]) < 4:
        return None
    times, light = wave
    try:
        found = flash.analyse(light, times - times[0])
        if found.kind == "train":
            share = min(1.0, shutter.train_exposure_lxs(max(found.mean_lx, 0.0), at) / found.exposure_lxs)
            return shutter.Kept(share, share, share, 0.0, 0.0), True
        above = [max(float(value) - found.ambient_lx, 0.0) for value in light]
        return shutter.kept_of_wave(at, times.tolist(), above, float(times[0]) + found.start_s), False
    except (ValueError, ZeroDivisionError):
        return None


def shutter_losses(view: JudgedSet) -> Iterable[Finding]:
    """Times beyond the sync speed, and flashes that are longer than the shutter stays open."""
    facts = camera(view.setup, view.settings)
    at = facts.shutter
    if at is None or not _flashes(view):
        return
    if facts.readout_unknown:
        yield Finding("shutter", NOTE + 0.45, "", told("readout_unknown"), told("do", do=Do("give_curtain")), {})
        return
    beyond = beyond_sync(view)
    if beyond is not None:
        yield beyond
        return
    losses = _losses(view, at)
    for loss in losses:
        if loss.seen:
            yield _train(loss, at) if loss.train else _slow(loss, at, facts, view)
    if losses and not any(loss.seen for loss in losses):
        worst = min(loss.kept.loss_stops for loss in losses)
        said = told("shutter_keeps", time_s=at.time_s, stops=min(worst, -0.01))
        yield Finding("shutter", FINE, "", said, NOTHING, {"shutter_s": at.time_s, "loss_stops": worst})


def _flashes(view: JudgedSet) -> int:
    """How many lights were read as flash."""
    return sum(one.reading is not None and one.reading.kind == "flash" for one in view.lights)


def _losses(view: JudgedSet, at: shutter.Shutter) -> list[Loss]:
    found = (loss_of(one, view, at) for one in view.lights)
    return [loss for loss in found if loss is not None]


def beyond_sync(view: JudgedSet) -> Finding | None:
    """Return what the set-up's shutter time does to flashes when it is beyond the sync speed, None when it is not.

    Whoever tells the camera's settings says this with them.  Heads that all pulse (high-speed sync) have no sync speed.
    """
    facts, flashes = camera(view.setup, view.settings), _flashes(view)
    at = facts.shutter
    if at is None or not flashes or facts.readout_unknown or not shutter.beyond_sync(at, facts.sync_speed_s):
        return None
    losses = _losses(view, at)
    if sum(loss.train for loss in losses) == flashes:
        return None
    dark = max((loss.kept.dark_share for loss in losses), default=0.0)
    numbers = {
        "time_s": at.time_s, "sync_s": facts.sync_speed_s,
        "amount": told("dark_share", share=dark) if dark > 0.02 else told("may_stay_dark"),
    }  # fmt: skip
    said = told("beyond_sync", **numbers)
    if "--sync" in facts.assumed:
        said = told("beyond_sync_assumed", **numbers, do=Do("give_sync"))
    to_do = told("beyond_sync_do", do=Do("set_shutter", shutter=_typed(facts.sync_speed_s)))
    figures = {"shutter_s": at.time_s, "sync_speed_s": facts.sync_speed_s, "dark_share": dark, "assumed": list(facts.assumed)}
    return Finding("sync", CAUTION + 0.8, "", said, to_do, figures)


def _numbers(loss: Loss, at: shutter.Shutter, facts: tuple[str, ...]) -> dict[str, object]:
    stops = loss.kept.loss_stops
    return {
        "t01_s": loss.t01_s, "shutter_s": at.time_s, "fully_open_s": shutter.fully_open_s(at),
        "loss_stops": stops if isfinite(stops) else None, "mean_loss_stops": log2(loss.kept.mean) if loss.kept.mean > 0.0 else None,
        "band_share": loss.kept.band_share, "dark_share": loss.kept.dark_share, "from_waveform": loss.from_waveform,
        "assumed": list(facts),
    }  # fmt: skip


def _train(loss: Loss, at: shutter.Shutter) -> Finding:
    name, stops = loss.state.light.name, loss.kept.loss_stops
    numbers = {"light": name, "time_s": at.time_s}
    said = told("train", **numbers, stops=stops) if isfinite(stops) else told("train_nothing", **numbers)
    return Finding("pulse_train", CAUTION + 0.7, name, said, told("train_do"), _numbers(loss, at, ()))


def _slow(loss: Loss, at: shutter.Shutter, facts: Camera, view: JudgedSet) -> Finding:
    name, kept = loss.state.light.name, loss.kept
    if kept.band_share == 0.0:
        how = told("loses_all_evenly") if kept.least <= 0.0 else told("loses_evenly", stops=kept.loss_stops)
    elif kept.least <= 0.0:
        how = told("loses_all_band", share=kept.band_share)
    else:
        how = told("loses_band", stops=kept.loss_stops, share=kept.band_share)
    open_s = shutter.window_s(at)
    said = {
        "light": name, "t01_s": loss.t01_s, "how": how, "time_s": at.time_s,
        "open": told("duration", time_s=max(open_s, 1e-6)) if open_s > 0.0 else told("no_time"),
    }  # fmt: skip
    assumed = tuple(told(_ASSUMED[option]) for option in facts.assumed)
    text = told("slow_assumed", **said, assumed=assumed) if assumed else told("slow", **said)
    advice = _advice(loss, at, view)
    if "--sync" in facts.assumed:
        advice = told("camera_tells", do=Do("give_sync"), advice=advice)
    rank = CAUTION + min(0.6, 0.3 - kept.loss_stops / 10)
    return Finding("slow_flash", rank, name, text, advice, _numbers(loss, at, facts.assumed))


def _advice(loss: Loss, at: shutter.Shutter, view: JudgedSet) -> Told:
    """The longest step down that is needed, and what it costs; an even loss may also be opened up for."""
    better = _slower(loss.state, view, at)
    power = told("shorter_flash_helps")
    if better is None:
        return power
    do = Do("set_shutter", shutter=_typed(better))
    advice = told("slower_shutter", do=do, stops=log2(better / at.time_s), else_=power)
    if loss.kept.band_share == 0.0 and loss.kept.least > 0.0:
        return told("open_up_or", stops=loss.kept.loss_stops, advice=advice)
    return advice


def _slower(state: LightState, view: JudgedSet, at: shutter.Shutter) -> float | None:
    """Shortest nominal time, longer than now, at which nothing visible is lost; None up to the slowest that makes sense."""
    times = sorted({time_exact_s(1 / -nominal) for nominal in THIRD_TIMES if nominal < 0 and -nominal >= 1 / SLOWEST_S})
    for time_s in times:
        loss = loss_of(state, view, at._replace(time_s=time_s)) if time_s > at.time_s * exp2(0.1) else None
        if loss is not None and loss.kept.loss_stops >= -VISIBLE_STOPS / 2:
            return time_s
    return None


def _typed(time_s: float) -> str:
    """A time as it is typed: ``1/125``."""
    return units.format_shutter(time_s).removesuffix(" s")
