"""Findings: worst first, each with what to do and the numbers behind it."""

from __future__ import annotations

import importlib
import json
import math
import pkgutil

import pytest
from small_sets import all_at_once, gave, hot, light, placed, read, seen, view

from meterlink import checks
from meterlink.checks import disagreement, finders
from meterlink.checks.finders import findings
from meterlink.checks.findings import Finding
from meterlink.judging.prediction import Prediction
from meterlink.records import Pop
from meterlink.tables.match import match_report
from meterlink.words.shared import finding_lines
from meterlink.words.told import told

KEY = placed(0, azimuth_deg=40.0, elevation_deg=25.0, shape="point", width_m=None)
FILL = placed(1, azimuth_deg=-30.0, elevation_deg=5.0, shape="point", width_m=None, distance_m=1.5)
LIGHTS = [light(0, "KEY", "key", fixture="A"), light(1, "FILL", "fill", fixture="B")]
TOGETHER = 160.0 * seen(KEY) + 80.0 * seen(FILL)


def kinds(found: list[Finding]) -> list[str]:
    """Kinds in their order."""
    return [one.kind for one in found]


def test_a_good_set_has_no_complaint() -> None:
    """Declared, agreeing readings with a sum that fits: nothing to say."""
    assert findings(view(LIGHTS, [KEY, FILL], [read(0, 160.0), read(1, 80.0), all_at_once(TOGETHER, (0, 1))])) == []


def test_held_off_key_comes_first_with_its_numbers() -> None:
    """The sum check names the key, about how far, the next pop as a command, and ranks above notes."""
    bad = 160.0 * hot(KEY, 0.3)
    found = findings(view(LIGHTS, [KEY, FILL], [read(0, bad), read(1, 80.0), all_at_once(TOGETHER, (0, 1))]))
    first = found[0]
    assert (first.kind, first.light) == ("sum", "KEY")
    assert "less than the sum of each alone" in first.text
    assert "held off" in first.text
    assert "cm toward it" in first.text
    assert "meterlink meter KEY" in first.advice
    assert first.numbers["residual_stops"] < 0
    assert first.numbers["suspects"][0]["light"] == "KEY"


def test_the_pop_of_all_lights_has_no_name_in_the_data() -> None:
    """Both lights gave the same twice, so the pop of both is what is off: null in the data of checks and match, no sentence."""
    parts = [read(0, 160.0, order=3), read(1, 80.0, order=4), all_at_once(TOGETHER / 2, (0, 1))]
    judged = view(LIGHTS, [KEY, FILL], parts, earlier=[read(0, 160.0), read(1, 80.0, order=1)])
    (found,) = (one for one in findings(judged) if one.kind == "sum")

    assert (found.light, found.numbers["suspects"][0]["light"]) == ("", None)
    assert match_report(judged, judged).as_json()["open"] == [None]


def test_history_flags_a_reading_without_any_sum() -> None:
    """A fixture's past alone catches a reading a stop too hot, and says from what it was expected."""
    then = KEY._replace(id="old", distance_m=1.0)
    history = (gave("A", then, math.log2(160.0 * 1.2**2)),)
    found = findings(view(LIGHTS, [KEY, FILL], [read(0, 330.0), read(1, 80.0)], history=history))
    first = found[0]
    assert (first.kind, first.light) == ("prediction", "KEY")
    assert "1 earlier reading of A" in first.text
    quiet = findings(view(LIGHTS, [KEY, FILL], [read(0, 160.0), read(1, 80.0)], history=history))
    assert "prediction" not in kinds(quiet)


@pytest.mark.parametrize("expected", [False, True])
@pytest.mark.parametrize(("key_lxs", "fill_lxs", "summed", "kind"), [(300.0, 80.0, 1, "sum"), (80.0, 160.0, 0, "swapped")])
def test_a_contradiction_stands_once(key_lxs: float, fill_lxs: float, summed: int, kind: str, expected: bool) -> None:
    """A key that the sum speaks against, two lights that look swapped: one line says so, whatever each was expected to give."""
    before = [read(0, 160.0), read(1, 80.0)]
    now = [read(0, key_lxs, order=5), read(1, fill_lxs, order=6), *[all_at_once(TOGETHER, (0, 1))] * summed]
    old = [place._replace(id="old", power_stops=-1.0) for place in (KEY, FILL)]
    pasts = [gave(head, place, math.log2(lxs)) for head, place, lxs in zip("AB", old, (80.0, 40.0), strict=True)]
    places = [KEY._replace(power_stops=0.0), FILL._replace(power_stops=0.0)]
    seen_view = view(LIGHTS, places, now, earlier=[] if summed else before, history=pasts if expected else ())

    assert kinds([one for one in findings(seen_view) if one.rank >= 2]) == [kind]


@pytest.mark.parametrize(("apart", "said"), [(3.3, False), (3.7, True), (-3.3, False), (-3.7, True)])
def test_single_readings_apart_are_named(apart: float, said: bool) -> None:
    """Without an alarm a reading more than 3.5 combined standard uncertainties from its prediction is named, and only then."""
    seen_view = view(LIGHTS, [KEY, FILL], [read(0, 160.0), read(1, 80.0)])
    u = math.hypot(seen_view.lights[0].judged.u_stops, 0.15)
    prediction = Prediction(math.log2(160.0) - apart * u, 0.15, 1, False, "1 earlier reading of A")
    found = list(disagreement.predicted_apart(seen_view._replace(predictions={"l0": prediction})))
    assert bool(found) is said
    if found:
        assert found[0].light == "KEY"
        assert found[0].numbers["apart_stops"] == pytest.approx(apart * u, abs=0.01)


@pytest.mark.parametrize(("rim_stops", "alike"), [(0.7, True), (-0.7, False), (0.0, False)])
def test_what_all_lights_are_off_alike_is_looked_for_at_none_of_them(rim_stops: float, alike: bool) -> None:
    """Three heads two thirds of a stop above their past: one finding about what they share; one that is not makes it two lights'.

    Each light's own said to turn its dial, where a match of the same set closed it at the camera.
    """
    lights = [*LIGHTS, light(2, "RIM", "rim", point="rim", fixture="C")]
    seen_view = view(lights, [KEY, FILL, placed(2)], [read(0, 160.0), read(1, 80.0), read(2, 40.0, point="rim")])
    pasts = {"l0": (160.0, 0.7), "l1": (80.0, 0.66), "l2": (seen_view.lights[2].judged.corrected, rim_stops)}
    predictions = {one: Prediction(math.log2(lxs) - stops, 0.05, 1, False, "1 reading") for one, (lxs, stops) in pasts.items()}
    found = list(disagreement.predicted_apart(seen_view._replace(predictions=predictions)))

    assert ([one.said.code for one in found] == ["all_apart"]) is alike
    if alike:
        assert found[0].numbers["apart_stops"] == pytest.approx(0.69, abs=0.03)
        assert found[0].text.startswith("KEY, FILL and RIM all read +0.7 stop")
    else:
        assert {one.light for one in found} == {"KEY", "FILL", *(["RIM"] if rim_stops else [])}


def test_order_and_advice() -> None:
    """Wrong before doubtful before cautions before notes; every finding says what to do in one line."""
    lights = [*LIGHTS, light(2, "RIM", "rim", point="rim"), light(3, "HAIR", "hair", point="hair")]
    rim = placed(2, distance_m=None)
    readings = [
        read(0, 160.0, clipped=True),
        read(1, 80.0, pops=tuple(Pop(v) for v in (80.0, 81.0, 110.0))),
        read(2, 50.0, point="rim"),
    ]
    found = findings(view(lights, [KEY, FILL, rim, placed(3)], readings))
    assert kinds(found)[0] == "retake"
    assert [one.rank for one in found] == sorted((one.rank for one in found), reverse=True)
    assert {"not_metered", "outlier", "no_distance"} <= set(kinds(found))
    for one in found:
        assert one.advice
        assert "\n" not in one.text + one.advice
        json.dumps(one.as_json(), allow_nan=False)


def test_what_only_lacks_the_lights_distance_asks_for_that_and_for_no_pop() -> None:
    """The reason says that no new pop is needed; the advice below it had asked for one, and the missing distance was told twice."""
    found = findings(view(LIGHTS, [placed(0, distance_m=None), FILL], [read(0, 160.0, held_off_m=0.22), read(1, 80.0)]))

    first = found[0]
    assert (first.kind, first.light, first.action.code) == ("retake", "KEY", "give_distance")
    assert "no new pop is needed" in first.text
    assert "meterlink meter" not in first.advice
    assert "no_distance" not in kinds(found)


def test_lights_that_lack_a_reading_are_asked_for_in_the_order_of_the_set() -> None:
    """Not by the alphabet: the walk that is proposed begins with the key."""
    lights = [light(i, name, role) for i, (name, role) in enumerate((("KEY", "key"), ("HAIR", "hair"), ("BACK", "background")))]
    found = [one.light for one in findings(view(lights, [placed(i) for i in range(3)], [])) if one.kind == "not_metered"]

    assert found == ["KEY", "HAIR", "BACK"]


def test_stale_readings_are_named() -> None:
    """A light moved since it was metered is a finding, its old value is not shown."""
    moved = KEY._replace(id="p0-new", created_at_s=100.0)
    found = findings(view(LIGHTS, [moved, FILL], [read(0, 160.0), read(1, 80.0)]))
    stale = next(one for one in found if one.kind == "stale")
    assert stale.light == "KEY"
    assert "160" not in stale.text


def test_near_light_with_nothing_declared() -> None:
    """A small light half a metre away costs more than a tenth of a stop within the assumed reach: said with the limit."""
    near = placed(0, width_m=0.18, distance_m=0.6)
    found = findings(view(LIGHTS[:1], [near], [read(0, 160.0, held_off_m=None)]))
    reach = next(one for one in found if one.kind == "reach")
    assert "keep the dome within 2 cm" in reach.advice
    assert reach.numbers["good_m"] == pytest.approx(0.02, abs=0.005)


def test_missing_sum_is_only_a_note() -> None:
    """Without a common pop the set is told, last, how to get a cross-check."""
    found = findings(view(LIGHTS, [KEY, FILL], [read(0, 160.0), read(1, 80.0)]))
    assert kinds(found) == ["sum_missing"]
    assert "--together" in found[0].advice


def test_others_can_add_finders(monkeypatch: pytest.MonkeyPatch) -> None:
    """The findings of one more finder are sorted in with the others."""

    def finder(_view: object) -> list[Finding]:
        return [Finding("room", 9.0, "", "the room is bright", "switch it off", {})]

    monkeypatch.setattr(finders, "FINDERS", [*finders.FINDERS, finder])
    found = findings(view(LIGHTS, [KEY, FILL], [read(0, 160.0), read(1, 80.0)]))
    assert kinds(found).count("room") == 1
    assert found[0].kind == "room"


def test_an_empty_set() -> None:
    """No lights: nothing found, nothing raised."""
    assert findings(view([], [], [])) == []


def test_what_several_lights_share_is_said_once() -> None:
    """Two lights so near that an undeclared dome costs too much: one line, with how near for each; one alone keeps its own line."""
    lights, places = [light(0, "KEY", "key"), light(1, "FILL", "fill")], [placed(0, distance_m=1.0), placed(1, distance_m=0.8)]
    readings = [read(0, 100.0, held_off_m=None), read(1, 50.0, held_off_m=None)]
    both = [one for one in findings(view(lights, places, readings)) if one.kind == "reach"]
    shared, own = finding_lines(both), finding_lines(both[:1])

    assert [str(one.said) for one in shared] == ["so near that 6 cm cost more than a tenth of a stop: KEY, FILL"]
    assert str(shared[0].to_do).startswith("keep the dome within 4 cm for KEY, 3 cm for FILL; ")
    assert str(own[0].said) == "KEY is so near that 6 cm cost more than a tenth of a stop"


def test_the_same_advice_is_given_once() -> None:
    """Two findings with the same thing to do: it stands behind the second; another one's is its own."""
    do = told("fire_again")
    found = [Finding("slow", 1.0, name, told("note", note=name), do, {}) for name in ("KEY", "FILL")]
    other = Finding("slow", 1.0, "RIM", told("note", note="RIM"), told("fire_both"), {})

    assert [str(one.to_do) for one in finding_lines([*found, other])] == ["", "fire it once more", "fire both again"]


def test_every_finder_is_listed() -> None:
    """A public function from the judged set to findings that nobody asks would be silent."""
    there = {
        made
        for module in pkgutil.iter_modules(checks.__path__)
        for name, made in vars(importlib.import_module(f"meterlink.checks.{module.name}")).items()
        if getattr(made, "__annotations__", {}) == {"view": "JudgedSet", "return": "Iterable[Finding]"} and name[0] != "_"
    }
    assert there == set(finders.FINDERS)
