"""Keeping set-ups: tags, subject, search, archive, templates; heads and modifiers with what was learnt of them."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

from meterlink.library.store import Library
from meterlink.metering.session import Session
from meterlink.records import Calibration, RangeScale, Reading, new_id

Run = Callable[..., object]


def names(ml: Run, *options: str) -> list[str]:
    """Set-ups in the list."""
    return [one["name"] for one in json.loads(ml("setup", "list", "--json", *options).out)]


def test_tags_subject_and_notes_are_found(small_set: Run) -> None:
    """Search looks at name, subject, notes and tags; the tags stand in the list."""
    small_set("setup", "new", "Other")
    small_set("setup", "change", "Potter", "--tag", "low key", "--tag", "clay", "--notes", "window shut")
    small_set("setup", "change", "Potter", "--subject", "at the wheel")

    for word in ("low key", "clay", "WHEEL", "window", "potter"):
        assert names(small_set, "--search", word) == ["Potter"], word
    assert "low key, clay" in small_set("setup", "list").out
    assert "subject: at the wheel" in small_set("setup", "show", "Potter").out


def test_tags_are_replaced_and_taken_away(small_set: Run) -> None:
    """The tags given are the tags; an empty one takes all away; doubles count once."""
    small_set("setup", "change", "--tag", "a", "--tag", "a", "--tag", " b ")
    assert json.loads(small_set("setup", "show", "--json").out)["tags"] == ["a", "b"]
    small_set("setup", "change", "--tag", "")
    assert json.loads(small_set("setup", "show", "--json").out)["tags"] == []


def test_an_archived_set_up_leaves_the_list_and_comes_back(small_set: Run) -> None:
    """Archive hides, unarchive brings back, nothing is lost."""
    assert small_set("setup", "archive", "Potter").code == 0
    assert names(small_set) == []
    assert names(small_set, "--archived") == ["Potter"]
    assert "archived" in small_set("setup", "list", "--archived").out
    assert small_set("setup", "unarchive", "potter").code == 0
    assert names(small_set) == ["Potter"]
    assert len(json.loads(small_set("setup", "show", "--json").out)["lights"]) == 2


def test_the_name_of_an_archived_set_up_may_be_used_again(small_set: Run) -> None:
    """A new set-up takes the name; the old one then cannot come back under it without a word."""
    small_set("setup", "archive", "Potter")
    assert small_set("setup", "new", "Potter").code == 0
    ran = small_set("setup", "unarchive", "Potter")

    assert ran.code in (1, 2)
    assert "already" in ran.err


@pytest.mark.parametrize("verb", ["archive", "change", "copy", "show", "use"])
def test_an_empty_name_is_not_the_set_up_in_use(small_set: Run, verb: str) -> None:
    """A shell's empty variable archives, changes and copies nothing."""
    ran = small_set("setup", verb, "", *(["Copy"] if verb == "copy" else []), *(["--iso", "200"] if verb == "change" else []))

    assert ran.code in (1, 2)
    assert "there is no set-up ''" in ran.err
    assert small_set("setup", "show").out.startswith("Potter: ISO 100")


def test_a_light_that_was_taken_out_comes_back_with_its_readings(small_set: Run) -> None:
    """What takes it out says how; one that is in the set, or was never there, is refused."""
    small_set("meter", "KEY@0", "--sensor", "sim:?every=0.8")
    before = small_set("ratios").out
    gone = small_set("light", "remove", "key")

    assert "meterlink light remove KEY --back" in gone.out
    assert "KEY" not in small_set("light", "list").out
    assert small_set("light", "remove", "KEY", "--back").code == 0
    assert small_set("ratios").out == before
    again = small_set("light", "remove", "KEY", "--back")
    assert again.code == 2
    assert "no light 'KEY' was taken out" in again.err


def test_only_archived_set_ups_are_brought_back(small_set: Run) -> None:
    """One line says which are."""
    ran = small_set("setup", "unarchive", "Potter")

    assert ran.code == 2
    assert "is not archived" in ran.err


def test_a_copy_is_a_template(small_set: Run) -> None:
    """Lights, places and facts come along, readings do not."""
    small_set("setup", "change", "--face-height", "1.25m")
    small_set("setup", "copy", "Potter", "Tall")
    shown = json.loads(small_set("setup", "show", "--json").out)

    assert shown["name"] == "Tall"
    assert shown["details"] == {"face_height_m": 1.25}
    assert [one["name"] for one in shown["lights"]] == ["KEY", "FILL"]


@pytest.fixture
def learnt(small_set: Run, tmp_path) -> Run:
    """A head that was metered at three powers and gives 0.9 of what its dial says."""
    small_set("light", "change", "KEY", "--fixture", "head A", "--modifier", "octa 90", "--power-step", "1/10")
    small_set("light", "change", "KEY", "--full-power", "400J")
    with Library.open(tmp_path / "library.sqlite") as library:
        calibration = Calibration(new_id(), "s", 0.0, 330.0, ranges=(RangeScale(2e6),))
        library.add_calibration(calibration)
        session = Session(library)
        key = session.light("KEY")
        for i, power in enumerate((0.0, -1.0, -2.0, -3.0)):
            place = session.move(key, power_stops=power, power_text=f"{power}")
            value = 400.0 * 2.0 ** (0.9 * power)
            reading = Reading(
                new_id(), session.setup.id, key.id, place.id, calibration.id, "s", 10.0 + i, exposure_lxs=value,
                held_off_m=0.0, u_rel=0.003, t01_s=0.004 * 2.0 ** (power / 2), cct_k=5600.0 - 100 * power,
            )  # fmt: skip
            library.add_reading(reading)
    return small_set


def test_what_was_learnt_of_a_head_is_shown(learnt: Run) -> None:
    """Its dial's error over power, its t0.1 and its colour, as numbers and as a table."""
    data = json.loads(learnt("kit", "show", "HEAD a", "--json").out)[0]

    assert data["readings"] == 4
    assert data["full_power_j"] == 400.0
    delivered = dict(map(tuple, data["delivered"]))
    # One pop at each power does not outweigh all that is usual of dials: the curve lies between both, near the pops.
    assert 0.9 * 2.0**-2.7 < delivered[-3.0] <= 2.0**-2.7
    assert dict(map(tuple, data["t01_s"]))[-2.0] == pytest.approx(0.002)
    assert [round(1e6 / point["mired"]) for point in data["colours"]] == [5900, 5800, 5700, 5600]
    table = learnt("kit", "show", "head A").out
    assert "off its dial by" in table
    assert "1/500 s" in table


def test_a_modifier_shows_its_size_and_falloff(learnt: Run) -> None:
    """Not measured: by its size, beside the inverse square."""
    out = learnt("kit", "show", "octa 90").out

    assert "disk 90 cm" in out
    assert "never measured" in out
    # A 90 cm disk from 1 m to 2 m: log2((0.45² + 2²) / (0.45² + 1)) = 1.81 stops, a point loses 2.
    assert "−1.81" in out
    assert "−2.00" in out


def test_a_light_that_was_taken_out_leaves_its_modifier_in_the_kit(learnt: Run) -> None:
    """What the studio owns does not go with it; of two lights in one set the one that still stands says more."""
    before = learnt("kit", "show", "octa 90").out
    learnt("light", "remove", "KEY")

    assert learnt("kit", "show", "octa 90").out == before


def test_favourites_stand_first(learnt: Run) -> None:
    """Marked, listed first, unmarked; the mark goes with the library's notes."""
    learnt("light", "change", "FILL", "--fixture", "zoom head")
    learnt("kit", "mark", "zoom head")
    heads = [one for one in json.loads(learnt("kit", "list", "--json").out) if one["kind"] == "head"]
    assert [(one["name"], one["favourite"]) for one in heads] == [("zoom head", True), ("head A", False)]
    learnt("kit", "unmark", "ZOOM HEAD")
    assert not any(one["favourite"] for one in json.loads(learnt("kit", "list", "--json").out))


def test_an_unknown_piece_names_those_there_are(learnt: Run) -> None:
    """One line with the names in use."""
    ran = learnt("kit", "show", "head Z")

    assert ran.code in (1, 2)
    assert "head A" in ran.err
    assert len(ran.err.splitlines()) == 1


def test_a_learnt_dial_is_used_by_targets(learnt: Run) -> None:
    """A stop less than at 1/8 (0.9 a step): a step and a tenth further down than the dial's scale says."""
    data = json.loads(learnt("targets", "KEY=f/4", "--json").out)["rows"][0]
    move = data["move"]

    assert move["learnt"] is True
    assert move["power_stops"] + 3.0 == pytest.approx(data["change_stops"] / 0.9, abs=0.2)


def test_other_facts_of_a_light_survive_a_change_of_its_dial(small_set: Run) -> None:
    """The top of a numeric scale is kept beside what else is known, and the lowest power is read by it."""
    small_set("light", "change", "KEY", "--scale-top", "10")
    small_set("light", "change", "KEY", "--power-min", "4")
    key = json.loads(small_set("light", "list", "--json").out)[0]

    assert key["details"] == {"scale_top": 10.0}
    assert key["power_min_stops"] == pytest.approx(-6.0)
    assert small_set("light", "change", "KEY", "--power-step", "0").code == 2
