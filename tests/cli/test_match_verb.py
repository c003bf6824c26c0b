"""``match`` and ``compare`` as a person types them."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from meterlink.library.store import Library
from meterlink.metering.session import Session
from meterlink.metering.walk import Request
from meterlink.records import Measurement

Run = Callable[..., object]
SENSOR = "sim:?every=0.9&lights=KEY,FILL,FILL,FILL"


@pytest.fixture(autouse=True)
def _no_keyboard(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody types while these tests run."""
    import io

    monkeypatch.setattr("sys.stdin", io.StringIO(""))


@pytest.fixture
def metered(small_set: Run) -> Run:
    """Key and fill, metered with the simulated sensor."""
    assert small_set("meter", "KEY@0", "FILL@0", "--sensor", SENSOR).code == 0
    return small_set


def test_a_rebuild_walks_and_reports(metered: Run) -> None:
    """Where everything stood, one pop a light from a real link, what matches; the copy is in use afterwards."""
    ran = metered("match", "Potter", "--tolerance", "0.3", "--sensor", SENSOR)

    assert ran.code == 0
    assert "KEY (key): disk 90 cm, 1.20 m" in ran.out
    assert "waiting for FILL" in ran.out
    assert "done: every light is within its tolerance" in ran.out
    current = [one["name"] for one in json.loads(metered("setup", "list", "--json").out) if one["current"]]
    assert current == ["Potter again"]


def test_the_report_alone_meters_nothing(metered: Run) -> None:
    """Against a copy that was not metered yet: all open, exit code 1, and what to do next."""
    metered("setup", "copy", "Potter", "Other day")
    ran = metered("match", "Potter", "--report")

    assert ran.code == 1
    assert "KEY waits for its pop" in ran.out
    assert "then fire what is open: meterlink match Potter --here" in ran.out


def test_what_is_named_at_the_end_fires_only_what_is_open(metered: Run) -> None:
    """On a copy of one's own where the key matches by its pop: no further copy, and the fill alone is waited for."""
    metered("setup", "copy", "Potter", "Other day")
    metered("meter", "KEY@0", "--sensor", SENSOR)
    told = metered("match", "Potter", "--report", "--tolerance", "0.3").out
    assert "then fire what is open: meterlink match Potter --here" in told
    ran = metered("match", "Potter", "--here", "--tolerance", "0.3", "--sensor", SENSOR.replace("KEY,FILL", "FILL"))

    assert "waiting for FILL" in ran.out
    assert "waiting for KEY" not in ran.out
    assert "done: every light is within its tolerance" in ran.out
    assert {one["name"] for one in json.loads(metered("setup", "list", "--json").out)} == {"Potter", "Other day"}


def test_nothing_is_fired_where_all_matches(metered: Run) -> None:
    """Every light of the set in use matches by its pop: none is waited for, no sensor is looked for, and the report says so."""
    metered("setup", "copy", "Potter", "Other day")
    metered("meter", "KEY@0", "FILL@0", "--sensor", SENSOR)
    ran = metered("match", "Potter", "--here", "--tolerance", "0.3", "--sensor", "socket://127.0.0.1:1")

    assert (ran.code, ran.err) == (0, "")
    assert "waiting for" not in ran.out
    assert ran.out.count("matches") == 2
    assert "done: every light is within its tolerance" in ran.out


def test_a_simulated_set_is_turned_as_told(small_set: Run) -> None:
    """Key a stop down, fill a stop up: they fire once more as they were told to be set, match, and nothing is held against them."""
    as_placed = ("--sensor", "sim:?every=0.9")
    small_set("light", "move", "FILL", "--power", "1/8")
    small_set("meter", "KEY@0", "FILL@0", *as_placed)
    small_set("setup", "copy", "Potter", "Other day")
    small_set("light", "move", "KEY", "--power", "1/8")
    small_set("light", "move", "FILL", "--power", "1/4")
    ran = small_set("match", "Potter", "--here", "--lights", *as_placed)

    assert "KEY: power up to 1/4" in ran.out
    assert "FILL: power down to 1/8" in ran.out
    assert not [word for word in ("swapped", "contradicted", "another head") if word in ran.out]
    assert "done: every light is within its tolerance" in ran.out


def test_json_is_data_only(metered: Run) -> None:
    """What is said on the way goes to stderr; the report can be read by a program."""
    ran = metered("match", "Potter", "--tolerance", "0.3", "--sensor", SENSOR, "--json")
    report = json.loads(ran.out)

    assert report["done"] is True
    assert [row["light"] for row in report["rows"]] == ["KEY", "FILL"]
    assert "waiting for FILL" in ran.err


def test_the_last_changes_are_told_and_recorded(metered: Run, tmp_path: Path) -> None:
    """Two pops, a turn between them: the last small change is printed with how to say that it is made; then it is expected."""
    with Library.open(tmp_path / "library.sqlite") as library:
        stored = Session(library)
        metered("setup", "copy", "Potter", "Other day")
        again = Session(library)
        key, values = again.light("KEY"), []
        library.revise_light(key._replace(power_step_stops=0.1))
        then = next(s for s in stored.view().lights if s.light.name == "KEY")
        assert then.value is not None
        for power, off in ((-2.0, -0.3), (-1.6, 0.1)):
            again.move(key, power_stops=power, power_text=f"{power:g}")
            again.begin([Request(key.id, point=key.point, held_off_m=0.0)])
            values.append(again.take(Measurement(
                "flash", 100.0 + 10 * power, "sim", then.reading.calibration_id, exposure_lxs=then.value * 2.0**off, u_rel=0.003
            )).kind)  # fmt: skip
        assert values == ["logged", "logged"]
    told = metered("match", "Potter", "--report", "--tolerance", "0.05")
    data = json.loads(metered("match", "Potter", "--report", "--json", "--tolerance", "0.05").out)

    assert "set these last, they need no further pop, then: meterlink match Potter --set" in told.out
    assert [len(data["last"]), data["last"][0]["move"]["power_stops"]] == [1, pytest.approx(-1.7)]
    made = metered("match", "Potter", "--set", "--tolerance", "0.05")
    assert "turned since its last pop, so this is what to expect" in made.out
    rows = {row["light"]: row for row in json.loads(metered("ratios", "--json").out)}
    assert metered("sheet", "-o", str(tmp_path / "page.html")).code == 0
    assert [rows["KEY"]["verdict"], rows["KEY"]["expected"], rows["KEY"]["stale"]] == ["expected", True, False]
    assert rows["KEY"]["corrected_f"] is not None
    assert "<b>expected</b>: set as told since its last pop" in (tmp_path / "page.html").read_text(encoding="utf-8")
    assert not [one for one in json.loads(metered("checks", "--json").out) if one["light"] == "KEY" and one["rank"] >= 2]
    assert "no last change" in metered("match", "Potter", "--set", "--tolerance", "0.05").err


def test_a_change_that_is_open_is_said_to_be_made_by_the_same_key(metered: Run, tmp_path: Path) -> None:
    """The key a stop under by its pop: --set takes it that it was turned up, and it waits for a pop as it stands now."""
    metered("setup", "copy", "Potter", "Other day")
    with Library.open(tmp_path / "library.sqlite") as library:
        again = Session(library)
        key = again.light("KEY")
        then = library.last_reading(library.setup("Potter").id)
        again.begin([Request(key.id, point=key.point, held_off_m=0.0)])
        level = json.loads(metered("ratios", "--json", "--setup", "Potter").out)[0]["corrected_f"] ** 2 * 330.0 / 100.0
        again.take(Measurement("flash", 90.0, "sim", then.calibration_id, exposure_lxs=level / 2.0, u_rel=0.003))

    made = metered("match", "Potter", "--set")

    assert made.err == ""
    assert "KEY waits for its pop" in made.out
    with Library.open(tmp_path / "library.sqlite") as library:
        assert Session(library).placement(key.id).power_stops == pytest.approx(-1.0, abs=0.1)


WRONG = [
    (("match", "Nobody", "--report"), "Nobody"),
    (("match", "Potter", "--tolerance", "0"), "tolerance '0' is not above 0"),
    (("match", "Potter", "--tolerance", "-1"), "tolerance '−1' is not above 0: type 0.1, 0.5 or 1/3"),
    (("match", "Potter", "--tolerance", "3"), "tolerance '3' is beyond 2 stops: type 0.1, 0.5 or 1/3"),
    (("match", "Potter", "--tolerance", "loud"), "'loud' cannot be read: type 0.1, 0.5 or 1/3"),
    (("match", "Potter", "--here"), "in use itself"),
    (("compare", "Nobody"), "Nobody"),
    (("compare", "Potter", "--at", "yesterday"), "2026-03-01"),
    (("compare", "Potter", "--at", "2026-13-45"), "cannot be read"),
    (("compare", "Potter", "--at", "1999-01-01"), "not there yet"),
]


@pytest.mark.parametrize(("arguments", "words"), WRONG, ids=[" ".join(a) for a, _ in WRONG])
def test_what_is_typed_wrongly_gets_one_line(small_set: Run, arguments: tuple[str, ...], words: str) -> None:
    """One line on stderr, exit code 1 or 2."""
    ran = small_set(*arguments)

    assert ran.code in (1, 2)
    assert words in ran.err
    assert len(ran.err.splitlines()) == 1


def test_two_set_ups_show_only_what_differs(small_set: Run) -> None:
    """One light was moved in the copy: one line."""
    small_set("setup", "copy", "Potter", "Tall")
    small_set("light", "move", "KEY", "--distance", "2m")
    ran = small_set("compare", "Potter")

    assert ran.code == 0
    assert ran.out.splitlines()[1].split() == ["KEY", "distance", "1.20", "m", "2.00", "m"]
    assert len(ran.out.splitlines()) == 2


def test_two_dates_of_one_set_up(small_set: Run, tmp_path: Path) -> None:
    """As it stood a minute from now, against what is moved an hour from now."""
    with Library.open(tmp_path / "library.sqlite") as library:
        later = Session(library, now=lambda: time.time() + 3600)
        later.move(later.light("KEY"), distance_m=2.0)
    soon = time.strftime("%Y-%m-%d %H:%M:%S", time.localtime(time.time() + 60))
    ran = small_set("compare", "Potter", "--at", soon)

    assert ran.code == 0
    assert "1.20 m" in ran.out
    assert "2.00 m" in ran.out
    assert f"Potter, {soon}" in ran.out
    assert json.loads(small_set("compare", "Potter", "--at", soon, "--json").out) == [
        {"light": "KEY", "what": "distance", "first": "1.20 m", "second": "2.00 m"}
    ]
    assert "no difference" in small_set("compare", "Potter", "--at", "2100-01-01").out
