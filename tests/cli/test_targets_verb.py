"""``targets`` as a person types it, on the demo set."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., object]


@pytest.fixture
def demo(ml: Run, monkeypatch: pytest.MonkeyPatch) -> Run:
    """The demo set, metered from its recording."""
    import io

    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert ml("demo").code == 0
    return ml


def test_the_whole_wish_at_once(demo: Run) -> None:
    """Key, card, hair and backdrop: each its change in its own power scale or by distance, 0 when all can be met."""
    ran = demo("targets", "KEY=f/8", "CARD=-1.5", "HAIR=-2", "BACKDROP=-0.7")

    assert ran.code == 0
    assert "HAIR: power down to 1/" in ran.out
    assert "CARD: " in ran.out
    assert "closer, to" in ran.out


def test_json_has_the_numbers(demo: Run) -> None:
    """Change, move and what is left, for a program."""
    data = json.loads(demo("targets", "HAIR=-2", "--json").out)

    assert data["feasible"] is True
    row = data["rows"][0]
    assert row["light"] == "HAIR"
    assert abs(row["predicted_stops"]) <= 0.05
    move = row["move"]
    assert move["power_stops"] < -4
    assert move["left_over_stops"] == pytest.approx(move["wanted_stops"] - move["achieved_stops"])
    assert row["sentence"].startswith("HAIR: power down to 1/")


def test_a_ratio_says_which_definition_it_was(demo: Run) -> None:
    """3:1 both ways are different wishes."""
    incident = demo("targets", "CARD=3:1").out
    shadow = demo("targets", "CARD=3:1", "--highlight-to-shadow").out

    assert "key to fill 3:1, each alone (incident): CARD 1.6 stops under the key" in incident
    assert "(key + fill) to fill" in shadow
    assert incident.splitlines()[1] != shadow.splitlines()[1]


def test_what_cannot_be_reached_exits_with_one(demo: Run) -> None:
    """f/64 of a key that gives f/8 at quarter power: the nearest, and said so."""
    ran = demo("targets", "KEY=f/64")

    assert ran.code == 1
    assert "the nearest" in ran.out


def test_by_distance_leaves_the_dials(demo: Run) -> None:
    """Only stands are moved, with softness said."""
    ran = demo("targets", "KEY=f/11", "--by", "distance")

    assert "power" not in ran.out.splitlines()[1]
    assert "softer: fills" in ran.out


def test_the_key_on_the_backdrop_is_a_system(demo: Run) -> None:
    """With the key metered at the backdrop, too, the backdrop's own light has less to bring."""
    before = json.loads(demo("targets", "BACKDROP=-1", "--json").out)["rows"][0]
    ran = demo("meter", "KEY", "--point", "background", "--sensor", "sim:?every=0.9&lights=FILL")
    assert ran.code == 0
    result = demo("targets", "BACKDROP=-1", "--json")
    after = json.loads(result.out)
    row = after["rows"][0]

    assert row["now_lxs"] > before["now_lxs"] or "another way" in after["notes"][0]


def test_wishes_are_kept_with_the_set_up_when_asked(ml: Callable[..., object]) -> None:
    """``--keep`` remembers stops from the key, not f-numbers, and adds to what was kept before."""
    ml("demo")
    ml("targets", "KEY=f/8", "CARD=-2", "--keep")
    ml("targets", "HAIR=-1", "--keep")

    shown = json.loads(ml("setup", "show", "--json").out)
    assert shown["details"]["targets"] == {"CARD": -2.0, "HAIR": -1.0}
    ml("targets", "CARD=1:4", "--keep")
    assert json.loads(ml("setup", "show", "--json").out)["details"]["targets"]["CARD"] == -2.0


def test_what_was_advised_is_recorded(demo: Run, tmp_path: Path) -> None:
    """--set: the small change stands as expected in table, JSON and sheet, with its ratio; nothing calls it wrong."""
    ran = demo("targets", "HAIR=-1.2", "--set")
    row = next(one for one in json.loads(demo("ratios", "--json").out) if one["light"] == "HAIR")
    assert demo("sheet", "-o", str(tmp_path / "page.html")).code == 0
    page = (tmp_path / "page.html").read_text(encoding="utf-8")

    assert ran.code == 0, ran.err
    assert "recorded; nothing has to be metered" in " ".join(ran.out.split())
    assert (row["verdict"], row["expected"], row["as_read_f"]) == ("expected", True, None)
    assert row["from_key_stops"] == pytest.approx(-1.2, abs=0.06)
    assert "<b>expected</b>: set as told since its last pop" in page
    assert not [one for one in json.loads(demo("checks", "--json").out) if one["light"] == "HAIR" and one["rank"] >= 2]


def test_a_large_turn_has_to_be_metered(demo: Run) -> None:
    """Two stops further down: recorded too, but no number stands until it is metered, and that is said."""
    ran = demo("targets", "HAIR=-3", "--set")

    assert "meterlink meter HAIR" in " ".join(ran.out.split())
    assert next(one for one in json.loads(demo("ratios", "--json").out) if one["light"] == "HAIR")["stale"]


def test_what_was_just_set_is_not_changed_again(demo: Run) -> None:
    """Nothing was fired since ``--set``: a small turn is left, a large one waits for its pop, neither is turned once more."""
    demo("targets", "HAIR=-3", "RIM=-0.8", "--set")
    said = " ".join(demo("targets", "HAIR=-3", "RIM=-0.8").out.split())
    told = json.loads(demo("targets", "HAIR=-2", "RIM=-0.8", "--json").out)
    rows = {row["light"]: row for row in told["rows"]}

    assert "HAIR: set as told, waits for its pop: meterlink meter HAIR" in said
    assert "RIM: leave it, set as told since its last pop: ± 0.1 expected, not metered" in said
    assert [rows["HAIR"][one] for one in ("now_lxs", "wanted_lxs", "change_stops", "predicted_stops")] == [None] * 4
    assert rows["HAIR"].keys() == rows["RIM"].keys()
    assert [row["move"]["power_stops"] for row in rows.values()] == [None, None]
    assert told["feasible"]


def test_while_the_key_waits_nothing_is_counted_from_it(demo: Run) -> None:
    """A key that was turned far is fired first: what counts from it, or reflects it, is not turned by an old reading."""
    demo("targets", "KEY=f/11", "--set")
    ran = demo("targets", "KEY=f/11", "HAIR=-1.5", "CARD=f/5.6")

    assert "KEY: set as told, waits for its pop" in ran.out
    assert "HAIR: KEY is set as told and waits for its pop first" in " ".join(ran.out.split())
    assert "CARD: KEY is set as told and waits for its pop first" in " ".join(ran.out.split())
    assert "when that is set" not in ran.out


def power_of(demo: Run, name: str) -> float:
    """Power of a light in stops, as the library has it."""
    lights = json.loads(demo("setup", "show", "--json").out)["lights"]
    return next(one for one in lights if one["name"] == name)["placement"]["power_stops"]


def test_what_was_told_last_is_set_without_saying_it_again(demo: Run) -> None:
    """``targets --set`` alone records the very changes that were told, though the light was metered again in between."""
    told = json.loads(demo("targets", "HAIR=-1.2", "RIM=-0.8", "--json").out)["rows"]
    assert demo("meter", "RIM@0", "--sensor", "sim:?every=0.9&lights=KEY").code == 0
    ran = demo("targets", "--set")

    assert ran.code == 0, ran.err
    assert ran.out.startswith("HAIR, RIM: recorded; ")
    assert {row["light"]: row["move"]["power_stops"] for row in told} == {name: power_of(demo, name) for name in ("HAIR", "RIM")}
    again = demo("targets", "--set")
    assert again.code != 0
    assert "nothing was told that is not recorded yet" in again.err


def test_what_was_told_is_not_set_over_another_change(demo: Run) -> None:
    """Turned by hand since: nothing is recorded of any light, and one line says which light and what to do."""
    demo("targets", "HAIR=-1.2", "RIM=-0.8")
    before = power_of(demo, "HAIR")
    demo("light", "move", "RIM", "--power", "1/4")
    ran = demo("targets", "--set")

    assert ran.code != 0
    assert ran.err.strip().endswith("RIM was changed since: ask for the targets again")
    assert (power_of(demo, "HAIR"), power_of(demo, "RIM")) == (before, -2.0)


def test_neither_wish_nor_set_is_refused(ml: Run) -> None:
    """Nothing wanted and nothing made: one line with an example."""
    ran = ml("targets")

    assert ran.code == 2
    assert "say what is wanted" in ran.err
