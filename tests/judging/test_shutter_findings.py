"""What the shutter takes of a flash: dark bands, even losses, times beyond the sync speed, trains of pulses."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
import pytest
from small_sets import light, placed, read, view

from meterlink.checks.facts import camera
from meterlink.checks.finders import findings, looked_at
from meterlink.checks.findings import Finding
from meterlink.checks.shutter import beyond_sync, loss_of
from meterlink.judging.judged_set import JudgedSet
from meterlink.photometry import shutter
from meterlink.words.shared import finding_lines

KEY = placed(0, azimuth_deg=40.0, shape="point", width_m=None)
LIGHTS = [light(0, "KEY", "key")]


def a_set(shutter_s: float, t01_s: float | None = 1 / 300, waves: Any = None, **details: Any) -> JudgedSet:
    """One key with a known duration at a shutter."""
    made = view(LIGHTS, [KEY], [read(0, 160.0, t01_s=t01_s, t05_s=None if t01_s is None else t01_s / 3.3)], details=details)
    return made._replace(setup=made.setup._replace(shutter_s=shutter_s), waves=waves)


def of(kind: str, made: JudgedSet) -> list[Finding]:
    """Findings of one kind, all of them plain data."""
    import meterlink.checks.finders  # noqa: F401

    found = [one for one in findings(made) if one.kind == kind]
    for one in found:
        json.dumps(one.as_json(), allow_nan=False)
    return found


FOCAL = {"shutter_kind": "focal-plane", "sync_speed_s": 1 / 203, "curtain_travel_s": 0.0032}


def test_slow_flash_near_the_sync_speed_leaves_a_band() -> None:
    """With a focal-plane shutter the loss is a band, its worst row as the closed form of an exponential says."""
    (found,) = of("slow_flash", a_set(1 / 203, **FOCAL))

    open_s = 1 / 203 - 0.0032
    assert found.numbers["loss_stops"] == pytest.approx(math.log2(1 - 10 ** (-open_s / (1 / 300))))
    assert 0.3 < found.numbers["band_share"] < 1.0
    assert "darker band" in found.text
    assert "setup change --shutter 1/" in found.advice


@pytest.mark.parametrize(
    ("at", "travel_s", "where"), [({"shutter_kind": "leaf"}, 0.0, "evenly"), (FOCAL, 0.0015, "in the darkest rows")]
)
def test_what_several_flashes_lose_is_one_line(at: dict[str, Any], travel_s: float, where: str) -> None:
    """The shutter's time once, an amount for each light (an exponential's), one advice: the time that is enough for the slowest."""
    t01_s = {"KEY": 1 / 300, "FILL": 1 / 400}
    readings = [read(i, 160.0, t01_s=t, t05_s=t / 3.3) for i, t in enumerate(t01_s.values())]
    details = {**at, "sync_speed_s": 1 / 1000, "curtain_travel_s": travel_s}
    made = view([*LIGHTS, light(1, "FILL", "fill")], [KEY, placed(1)], readings, details=details)
    found = of("slow_flash", made._replace(setup=made.setup._replace(shutter_s=1 / 512)))
    (line,) = finding_lines(found)

    lost = {name: -math.log2(1 - 10 ** (-(1 / 512 - travel_s) / t)) for name, t in t01_s.items()}
    each = ", ".join(f"{name} {stops:.1f} stop{'s' * (stops > 1.05)}" for name, stops in lost.items())
    assert f"lost {where}: {each}" in str(line.said)
    alone = [float(finding_lines([one])[0].to_do.values.get("advice", one.to_do).values["stops"]) for one in found]
    assert line.to_do.values["stops"] == max(alone) > min(alone)
    assert (len(line.found), line.to_do.code) == (2, "slower_shutter")
    assert finding_lines(found[:1])[0].said == found[0].said


def test_a_camera_that_nobody_told_is_asked_for_first() -> None:
    """What was assumed stands in the shared line, and its own sync speed comes before the advice."""
    two = view(
        [*LIGHTS, light(1, "FILL", "fill")], [KEY, placed(1)],
        [read(0, 160.0, t01_s=1 / 100, t05_s=1 / 330), read(1, 80.0, t01_s=1 / 150, t05_s=1 / 500)],
    )  # fmt: skip
    (line,) = finding_lines(of("slow_flash", two._replace(setup=two.setup._replace(shutter_s=1 / 161))))

    assert "(assumed: " in str(line.said)
    assert str(line.to_do).startswith("say your camera's own sync speed first: ")


def test_what_a_shutter_keeps_is_never_said_to_be_nothing() -> None:
    """However short the flash: at most 0.01 stop, since 0.00 would be more than is known."""
    (well,) = [one for one in looked_at(a_set(1 / 60, 1 / 5000, **FOCAL))[1] if one.code == "shutter"]

    assert "loses 0.01 stop at most" in well.text


def test_the_advised_shutter_loses_nothing_visible() -> None:
    """Doing what the finding says makes it go away."""
    from meterlink.units import parse_shutter

    (found,) = of("slow_flash", a_set(1 / 203, **FOCAL))
    advised = found.advice.split("--shutter ")[1].split(":")[0]

    assert of("slow_flash", a_set(parse_shutter(advised), **FOCAL)) == []


def test_leaf_shutter_loses_evenly() -> None:
    """A leaf shutter has no band and no sync speed: the loss may be opened up for."""
    (found,) = of("slow_flash", a_set(1 / 512, shutter_kind="leaf"))

    assert found.numbers["band_share"] == 0.0
    assert "evenly" in found.text
    assert "open up by" in found.advice
    assert of("sync", a_set(1 / 512, shutter_kind="leaf")) == []


def test_beyond_the_sync_speed_is_one_finding_for_the_set() -> None:
    """1/500 at a sync of 1/200 says so once, with the part of the frame that gets no flash."""
    (found,) = of("sync", a_set(1 / 512, **FOCAL))

    assert "1/500 s is faster than the sync speed of 1/200 s" in found.text
    assert found.numbers["dark_share"] == pytest.approx(1 - (1 / 512) / 0.0032, abs=0.02)
    assert of("slow_flash", a_set(1 / 512, **FOCAL)) == []


def test_who_tells_the_camera_says_it_too() -> None:
    """The very finding, for the lines that tell the camera's settings; none within it, for a leaf shutter, and for lamps."""
    made = a_set(1 / 512, **FOCAL)

    assert beyond_sync(made) == of("sync", made)[0]
    assert beyond_sync(a_set(1 / 203, **FOCAL)) is None
    assert beyond_sync(a_set(1 / 512, shutter_kind="leaf")) is None
    assert beyond_sync(made._replace(lights=())) is None


def test_common_practice_sync_speed_is_named_as_such() -> None:
    """About 1/200 s is common practice (no published source): assumed where nothing is given, and said so."""
    (found,) = of("sync", a_set(1 / 256))

    assert "common practice" in found.text
    assert "--sync" in found.numbers["assumed"]
    assert of("sync", a_set(1 / 203.19)) == []


def test_a_usual_flash_at_a_usual_shutter_is_no_finding() -> None:
    """t0.1 of 1/1000 s at 1/125 s loses nothing and nothing is said, whatever had to be assumed."""
    made = a_set(1 / 128, 1 / 1000)

    assert of("slow_flash", made) == of("sync", made) == of("shutter", made) == []


def wave(t01_s: float, ambient_lx: float = 200.0) -> tuple[Any, Any]:
    """An exponential pulse of 100 klx with an instant rise, 10 µs a sample."""
    times = np.arange(-100, 3000) * 1e-5
    tau = t01_s / math.log(10)
    light_lx = ambient_lx + np.where(times >= 0, 1e5 * np.exp(-np.maximum(times, 0.0) / tau), 0.0)
    return times, light_lx


def test_kept_waveform_and_duration_alone_agree_for_an_exponential() -> None:
    """The loss from the samples is the closed form's within a hundredth of a stop, and is marked as measured."""
    at = camera(a_set(1 / 203, **FOCAL).setup, view([], [], []).settings).shutter
    assert at is not None
    made = a_set(1 / 203, waves=lambda _: wave(1 / 300), **FOCAL)

    by_wave = loss_of(made.lights[0], made, at)
    by_duration = loss_of(made.lights[0], made._replace(waves=None), at)

    assert by_wave is not None
    assert by_duration is not None
    assert by_wave.from_waveform
    assert not by_duration.from_waveform
    assert by_wave.kept.loss_stops == pytest.approx(by_duration.kept.loss_stops, abs=0.01)


def test_cut_off_flash_is_judged_by_its_waveform() -> None:
    """A flash that ends at once within the window loses nothing, where an exponential of the same t0.1 would."""
    times, light_lx = wave(1 / 100)
    cut = np.where(times < 1 / 600, light_lx, 200.0)
    made = a_set(1 / 203, 1 / 600, waves=lambda _: (times, cut), **FOCAL)

    assert of("slow_flash", made._replace(waves=None))
    assert of("slow_flash", made) == []


def test_pulse_train_counts_only_while_the_shutter_is_open() -> None:
    """High-speed sync of 20 ms read whole gives the picture at 1/500 s a tenth of it: said, and no sync caution."""
    times = np.arange(0, 6000) * 1e-5
    light_lx = 100.0 + np.where((times > 0.01) & (times < 0.03), 5e4 * (1 + np.cos(2 * np.pi * times / 5e-4)), 0.0)
    made = a_set(1 / 512, 0.02, waves=lambda _: (times, light_lx), **FOCAL)

    (found,) = of("pulse_train", made)

    assert found.numbers["loss_stops"] == pytest.approx(math.log2((1 / 512) / 0.02), abs=0.1)
    assert of("sync", made) == []


def test_electronic_shutter_without_readout_time_is_asked_for() -> None:
    """Nothing is claimed of a rolling shutter whose readout time is not known."""
    (found,) = of("shutter", a_set(1 / 128, shutter_kind="electronic"))

    assert "readout" in found.text
    assert of("shutter", a_set(1 / 128, shutter_kind="electronic", curtain_travel_s=0.0)) == []


@pytest.mark.parametrize(
    "details",
    [
        {"shutter_kind": 7, "sync_speed_s": "fast", "curtain_travel_s": -1.0, "trigger_delay_s": True},
        {"shutter_kind": "curtain of doom", "sync_speed_s": float("nan"), "curtain_travel_s": float("inf")},
        {"sync_speed_s": 0.0, "curtain_travel_s": [1], "trigger_delay_s": {"a": 1}},
    ],
)
def test_facts_from_a_strange_file_are_not_believed(details: dict[str, Any]) -> None:
    """Facts of the wrong kind or beyond their limits count as not given, without an error."""
    facts = camera(a_set(1 / 128, **details).setup, view([], [], []).settings)

    assert facts.sync_speed_s == 1 / 200
    assert facts.shutter is not None
    assert facts.shutter.kind == "focal-plane"
    assert facts.shutter.delay_s == 0.0
    assert shutter.fully_open_s(facts.shutter) > 0.0


def test_damaged_waveforms_fall_back_to_the_duration() -> None:
    """A kept waveform from which nothing follows is no error: t0.1 decides."""
    for bad in ((np.zeros(0), np.zeros(0)), (np.arange(50.0), np.full(50, np.nan)), (np.arange(50.0), np.zeros(50))):
        made = a_set(1 / 203, waves=lambda _, bad=bad: bad, **FOCAL)

        assert len(of("slow_flash", made)) == 1


def test_no_shutter_and_no_duration_say_nothing() -> None:
    """Without a shutter time, or without any duration, there is nothing to say."""
    assert of("slow_flash", a_set(1 / 203, None, **FOCAL)) == []
    made = a_set(1 / 203, **FOCAL)
    assert of("slow_flash", made._replace(setup=made.setup._replace(shutter_s=None))) == []


def test_a_shutter_is_advised_only_when_it_is_another_one() -> None:
    """1/204 s and 1/200 s as printed (1/203.2) are one position of the dial: the next one that helps is told, a third longer."""
    made = a_set(1 / 204, 2e-5, shutter_kind="focal-plane", sync_speed_s=1 / 203.19, curtain_travel_s=0.00488)
    (found,) = of("slow_flash", made)

    assert "--shutter 1/160" in found.advice
    assert "comes up by 0.3 stop" in found.advice


def test_an_assumed_sync_speed_is_asked_for_first() -> None:
    """Where the sync speed is common practice only, saying the camera's own comes before turning anything."""
    (assumed,) = of("slow_flash", a_set(1 / 161))
    (said,) = of("slow_flash", a_set(1 / 203, **FOCAL))
    assert "say your camera's own sync speed first: meterlink setup change --sync 1/250; else " in assumed.advice
    assert "--sync" not in said.advice
