"""One judged set: whoever shows it blames the same light, by the same amount; loaded once, judged once."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from small_sets import all_at_once, gave, hot, light, placed, read, seen, view

from meterlink.checks.finders import findings
from meterlink.judging import judge as judge_module
from meterlink.judging.judged_set import JudgedSet
from meterlink.judging.prediction import Past
from meterlink.library.store import Library
from meterlink.metering.session import Session
from meterlink.records import Calibration, Light, Measurement, Placement, Reading, Setup, new_id
from meterlink.report.page import light_lines
from meterlink.tables.match import match_report
from meterlink.tables.ratios import ratio_table
from meterlink.tables.targets import parse_wish, plan
from meterlink.words.sentences import logged
from meterlink.words.told import written
from mobile.desk import Desk
from mobile.set_state import set_look

MakePop = Callable[..., Measurement]
SETS = 600
ROLES = ("key", "fill", "hair", "rim", "other", "other")
SAID = re.compile(r"reads about ([+-]\d\.\d) stops? off")


def drawn(rng: np.random.Generator) -> tuple[JudgedSet, JudgedSet, bool]:
    """A random set of two to six lights, half of them with one misplaced reading, some with histories; and an honest one."""
    count = int(rng.integers(2, 7))
    lights = [light(i, f"L{i}", ROLES[i], fixture=f"head {i}", **_point(ROLES[i])) for i in range(count)]
    places = [
        placed(
            i,
            width_m=float(rng.uniform(0.2, 1.2)),
            distance_m=float(rng.uniform(0.7, 2.5)),
            azimuth_deg=float(rng.uniform(-80, 80)),
            elevation_deg=float(rng.uniform(-10, 50)),
        )
        for i in range(count)
    ]
    true = [float(2.0 ** rng.uniform(4, 8)) for _ in range(count)]
    wrong = int(rng.integers(count)) if rng.random() < 0.6 else None
    factors = [1.0] * count
    if wrong is not None:
        factors[wrong] = hot(places[wrong], min(rng.uniform(0.1, 0.45), places[wrong].distance_m / 2.2))
    noise = [2.0 ** rng.normal(0, 0.03) for _ in range(count)]
    honest = [read(i, value * n, point=lights[i].point) for i, (value, n) in enumerate(zip(true, noise, strict=True))]
    alone = [one._replace(exposure_lxs=one.exposure_lxs * factor) for one, factor in zip(honest, factors, strict=True)]
    front = tuple(i for i in range(count) if lights[i].point == "face")
    total = sum(true[i] * seen(places[i]) for i in front)
    history: list[Past] = []
    if rng.random() < 0.5:
        stood = [place._replace(id=f"old{i}") for i, place in enumerate(places)]
        history = [gave(f"head {i}", stood[i], math.log2(true[i])) for i in range(count)]
    pops = [all_at_once(total * 2.0 ** rng.normal(0, 0.03), front)] if len(front) > 1 and rng.random() < 0.8 else []
    wholly = view(lights, places, [*alone, *pops], history=history)
    return wholly, view(lights, places, honest), wrong is not None


def _point(role: str) -> dict[str, str]:
    return {"point": role} if role in ("hair", "rim") else {}


def blamed_by(judged: JudgedSet, honest: JudgedSet) -> dict[str, tuple[str, str]]:
    """Who names which light as wrong, and by how much, each in its own words."""
    table = ratio_table(judged)
    names = [s.light.name for s in judged.lights]
    said: dict[str, list[tuple[str, str]]] = {
        "table": [(row.light, row.reason) for row in table.rows],
        "sheet": [(line.name, line.reason) for line in light_lines(judged, table)],
        "match": [(row.light, str(row.sentence)) for row in match_report(honest, judged).rows],
        "targets": [("", str(note)) for note in plan(judged, [parse_wish("L1=-1")]).notes],
    }
    for s in judged.lights:
        said[f"after {s.light.name}"] = [(s.light.name, str(logged(judged, s.reading, s, "alone")))]
    sums = [r for r in judged.readings if r.purpose == "together"]
    if sums:
        said["after the sum"] = [("", str(logged(judged, sums[-1], None, "together")))]
    found = {}
    for who, texts in said.items():
        for name, text in texts:
            amount = SAID.search(text)
            if amount:
                named = name or next((one for one in names if re.search(rf"\b{one}\b", text)), "")
                assert who not in found, f"{who} blames two lights"
                found[who] = (named, amount[1])
    return found


def test_all_blame_one_light_by_one_amount() -> None:
    """In 600 random sets table, checks, sheet, match, targets and sentences name one light with the same stops, or none does."""
    rng = np.random.default_rng(20)
    alarms = wrong_sets = 0
    for _ in range(SETS):
        judged, honest, wrong = drawn(rng)
        wrong_sets += wrong
        top = judged.blamed
        said = blamed_by(judged, honest)
        disagreements = [one for one in findings(judged) if "odds" in one.numbers]
        if top is None or top.light_id is None:
            said.pop("after the sum", None)  # it may say that the sum itself is off
            assert said == {}
            assert [one.light for one in disagreements] == ([] if top is None else [""])
            continue
        alarms += 1
        name = next(s.light.name for s in judged.lights if s.light.id == top.light_id)
        amount = f"{top.stops:+.1f}"
        expected = {"table", "sheet", "match", "targets", f"after {name}"}
        expected |= {"after the sum"} if any(r.purpose == "together" for r in judged.readings) else set()
        assert said == dict.fromkeys(expected, (name, amount))
        (one,) = disagreements
        assert one.light == name
        assert f"{name} reads about {written(abs(top.stops), 'stops_word')} {'high' if top.stops > 0 else 'low'}" in one.text
        assert one.numbers["suspects"][0]["stops"] == top.stops
        assert [s.light.id for s in judged.lights if s.judged.against] == [top.light_id]
    assert wrong_sets > SETS / 2
    assert alarms > SETS / 4  # else nothing was asked


# -- loaded once, judged once ---------------------------------------------------------------------------------------------


@pytest.fixture
def six(library: Library, calibration: Calibration) -> Session:
    """A session on a set of six lights of known heads, which stood in an earlier set too."""
    opened = None
    for name in ("before", "now"):
        setup = Setup(new_id(), name, 0.0, iso=100.0, shutter_s=1 / 128)
        library.add_setup(setup)
        library.use_setup(setup.id)
        opened = Session(library, now=lambda: 1_000.0)
        for order in range(6):
            one = Light(new_id(), setup.id, f"L{order}", ROLES[order], "face", order, fixture=f"head {order}")
            place = Placement(
                new_id(), one.id, 0.0, "disk", 0.6, None, 1.2, 0.02, 20.0 * order - 50, 10.0, power_text="1/4", power_stops=-2.0
            )
            opened.add_light(one, place)
        if name == "before":
            opened.begin(opened.request(one, held_off_m=0.0) for one in opened.lights())
            for number in range(6):
                at_s = 1.0 + 3 * number
                flash = Measurement("flash", at_s, "5e4501", calibration.id, exposure_lxs=100.0, peak_lx=2e5, u_rel=0.005)
                assert opened.take(flash).kind == "logged"
    assert opened is not None
    return opened


def counted(library: Library, act: Callable[[], Any]) -> list[str]:
    """The statements that SQLite runs while ``act`` does."""
    said: list[str] = []
    library.db.connection.set_trace_callback(said.append)
    try:
        act()
    finally:
        library.db.connection.set_trace_callback(None)
    return said


def test_a_pop_runs_few_statements_and_judges_one_light(six: Session, pop: MakePop, monkeypatch: pytest.MonkeyPatch) -> None:
    """The sixth pop of six lights: at most 15 SQL statements with all that is shown of it, and only its own reading is judged."""
    six.begin(six.request(one, held_off_m=0.0) for one in six.lights())
    for _ in range(5):
        six.take(pop(100.0))
        six.view()
        six.expected()
    judged: list[str] = []
    real = judge_module.judge

    def spy(reading: Reading, *args: Any, **more: Any) -> Any:
        judged.append(reading.id)
        return real(reading, *args, **more)

    monkeypatch.setattr(judge_module, "judge", spy)

    def fire() -> None:
        with six.known.at_one_moment():
            assert six.take(pop(100.0)).kind == "logged"
            six.expected()
            six.ratios()
            six.checks()
            six.pending()

    said = counted(six.library, fire)
    assert len(said) <= 15, "\n".join(said)
    assert judged == [six.view().readings[-1].id]


def test_opening_a_set_judges_each_light_once(six: Session, pop: MakePop, monkeypatch: pytest.MonkeyPatch) -> None:
    """A set of six lights opened anew: six readings of its own and six of its heads' are judged, each once, whatever is asked."""
    six.begin(six.request(one, held_off_m=0.0) for one in six.lights())
    for _ in range(6):
        six.take(pop(100.0))
    judged: list[str] = []
    real = judge_module.judge

    def spy(reading: Reading, *args: Any, **more: Any) -> Any:
        judged.append(reading.id)
        return real(reading, *args, **more)

    monkeypatch.setattr(judge_module, "judge", spy)
    again = Session(six.library)
    again.ratios()
    again.checks()
    again.view()
    assert len(judged) == len(set(judged)) == 12


def test_what_others_write_is_seen(six: Session, pop: MakePop) -> None:
    """A move and a pop by another program, and a move of one's own, show at once; a walk that is remembered reads nothing anew."""
    six.begin(six.request(one, held_off_m=0.0) for one in six.lights())
    six.take(pop(100.0))
    assert six.view().lights[0].value is not None
    with Library.open(six.library.path) as second:
        other = Session(second, six.setup.id)
        other.move(other.lights()[0], power_stops=-3.0, power_text="1/8")
    assert six.view().lights[0].stale is not None
    six.move(six.lights()[1], power_stops=-3.0, power_text="1/8")
    assert six.placement(six.lights()[1].id).power_text == "1/8"
    before = six.view()
    assert len(counted(six.library, six.view)) == 1
    six.library.remember("anything", 1)
    assert len(counted(six.library, six.view)) == 1
    assert six.view().lights == before.lights


def test_the_app_shows_the_light_that_the_table_blames(six: Session, pop: MakePop) -> None:
    """The app's desk on the same library has the same retake with the same reason, and few statements for a pop."""
    desk = Desk(six.library)
    desk.begin()
    for n in (0, 1, 2, 2, 3, 4, 5):  # a pop that is to be retaken keeps its light waiting once
        desk.take(pop(100.0 if n != 2 else 190.0))
    blamed = desk.shot.view.blamed
    assert blamed is not None
    table = Session(six.library).ratios()
    assert [(r.light, r.verdict, r.reason) for r in table.rows] == [(r.light, r.verdict, r.reason) for r in desk.shot.table.rows]
    look = set_look(desk.shot)
    assert [row.name for row in look.rows if row.verdict == "retake"] == [r.light for r in table.rows if r.verdict == "retake"]
    desk.begin(six.lights()[2].id)
    said = counted(six.library, lambda: desk.take(pop(100.0)))
    assert len(said) <= 15, "\n".join(said)
