"""A rebuilt set beside the stored one."""

from __future__ import annotations

from math import log2

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_sets import light, placed, read, view

from meterlink.judging.judged_set import JudgedSet
from meterlink.records import Calibration, Light, Placement, Pop
from meterlink.tables.match import camera_stops, match_report
from meterlink.tables.match_rounds import last_round, second_round
from meterlink.words.told import NOTHING

HEADS = [
    light(0, "KEY", "key", power_step_stops=0.1, fixture="A", modifier="octa"),
    light(1, "FILL", "fill", power_step_stops=0.1, fixture="B"),
    light(2, "HAIR", "hair", power_step_stops=0.1, fixture="C"),
    light(3, "RIM", "rim", power_step_stops=0.1, fixture="D"),
]
PLACES = [placed(i, power_stops=-3.0, power_text="1/8") for i in range(4)]
STORED = (320.0, 80.0, 160.0, 100.0)


def built(
    levels: tuple[float | None, ...] = STORED, lights: list[Light] | None = None, places: list[Placement] | None = None
) -> JudgedSet:
    """A set of four lights that read so; None is not metered."""
    readings = [read(i, value) for i, value in enumerate(levels) if value is not None]
    seen = view(lights or HEADS, places or PLACES, readings)
    return seen._replace(calibrations={"c": Calibration("c", "x", 0.0, 330.0)})


def off_by(*stops: float) -> JudgedSet:
    """The stored set with these differences."""
    return built(tuple(value * 2.0**d for value, d in zip(STORED, stops, strict=True)))


def test_the_same_light_matches() -> None:
    """Nothing differs: done, no moves, no change of the camera."""
    report = match_report(built(), built())

    assert report.done
    assert [row.move for row in report.rows] == [None] * 4
    assert not report.camera


def test_a_light_that_is_off_is_told_by_how_much_and_what_closes_it() -> None:
    """Half a stop under: five tenths up on this head's dial."""
    row = match_report(built(), off_by(0.02, -0.5, 0, 0)).rows[1]

    assert not row.within
    assert row.difference_stops == pytest.approx(-0.5)
    assert row.move is not None
    assert row.move.power_stops == pytest.approx(-2.5)
    assert str(row.sentence).startswith("FILL is 0.5 stop under (± 0.")
    assert "power up to 1/8 +0.5" in str(row.sentence)


def test_a_reading_that_tells_nothing_turns_no_dial() -> None:
    """Two pops a stop and a half apart: to be fired again, by table, rounds and the last changes alike, and no other head."""
    now = built()
    pops = (Pop(320.0), Pop(320.0 * 2.0**-1.5))
    key = read(0, sum(one.exposure_lxs for one in pops) / 2, pops=pops)
    now = view(HEADS, PLACES, [key, *now.readings[1:]])._replace(calibrations=now.calibrations)
    report = match_report(built(), now)
    row = report.rows[0]

    assert (now.lights[0].judged.verdict, row.within, row.move) == ("retake", False, None)
    assert str(row.sentence).startswith("KEY is 0.6 stop under (± ")
    assert str(row.sentence).endswith("): fire it once more")
    assert [str(turn.sentence) for turn in second_round(report, now)] == ["KEY: leave it as it is, one pop is not sure enough"]
    assert last_round(report, now) == ()


def test_the_uncertainty_is_of_both_readings() -> None:
    """Two readings with the same single-pop spread: the difference carries it √2 times, k = 2."""
    stored = built()
    row = match_report(stored, built()).rows[0]
    judged = stored.lights[0].judged

    assert judged is not None
    assert row.u95_stops == pytest.approx(2 * 2**0.5 * judged.u_stops)


def test_all_a_third_under_is_one_change_of_the_camera() -> None:
    """Four lights a third under: ISO 125 (or a third more open) instead of four dials; the least sure one is fired once more."""
    now = off_by(-0.33, -0.37, -0.26, -0.37)
    report = match_report(built(), now)

    assert report.common_stops == pytest.approx(-1 / 3)
    assert "all lights are 0.3 stop under alike: open up by 1/3 stop, or set ISO 125" in str(report.camera)
    turns = second_round(report, now)
    assert [(turn.light_id, turn.move) for turn in turns] == [("l2", None)]


def test_one_of_four_may_be_off_by_itself() -> None:
    """Three lights share two thirds over, the rim is elsewhere: the camera closes three, only the rim is turned."""
    now = off_by(0.66, 0.68, 0.65, -0.2)
    report = match_report(built(), now)
    turns = second_round(report, now)

    assert "3 of 4 lights are 0.7 stop over alike: close down by 2/3 stop" in str(report.camera)
    assert [turn.light_id for turn in turns] == ["l3"]
    assert turns[0].move is not None
    assert turns[0].move.wanted_stops == pytest.approx(2 / 3 + 0.2)
    # The rows say what the rounds do: nothing is told to be turned that the camera closes, and the rim by what is left beside it.
    assert [row.move for row in report.rows[:3]] == [None] * 3
    assert all("the camera closes it" in str(row.sentence) for row in report.rows[:3])
    assert report.rows[3].move is not None
    assert report.rows[3].move.wanted_stops == pytest.approx(2 / 3 + 0.2)
    assert str(report.rows[3].sentence).endswith("with the camera changed")


@pytest.mark.parametrize(("off", "words"), [(1.01, "down by 1 stop,"), (-1.34, "up by 1 1/3 stops,"), (2.0, "by 2 stops,")])
def test_the_camera_s_change_is_whole_stops_and_thirds(off: float, words: str) -> None:
    """A shutter and an aperture have thirds: three of them are a stop."""
    assert words in str(match_report(built(), off_by(off, off, off, off)).camera)


@pytest.mark.parametrize("stops", [(-0.17, -0.16, -0.15, -0.18), (0.33, -0.33, 0.33, -0.33), (0.05, -0.05, 0.0, 0.02)])
def test_no_change_of_the_camera_is_offered_that_would_not_close_it(stops: tuple[float, ...]) -> None:
    """Half of a third, differences of both signs, or nothing to close: the camera stays."""
    assert match_report(built(), off_by(*stops)).camera == NOTHING


def test_lights_are_turned_when_that_is_wanted() -> None:
    """With the common difference not left to the camera, each light gets its own change."""
    now = off_by(-0.33, -0.36, -0.3, -0.34)

    report = match_report(built(), now, keep_common=False)
    assert len(second_round(report, now, keep_common=False)) == 4
    assert (report.camera, [row.move is None for row in report.rows]) == (NOTHING, [False] * 4)


def test_a_camera_that_was_changed_counts() -> None:
    """The same lights a third under and ISO 125 instead of 100 give the same picture."""
    stored, now = built(), off_by(-1 / 3, -1 / 3, -1 / 3, -1 / 3)
    now = now._replace(setup=now.setup._replace(iso=100 * 2 ** (1 / 3)))
    report = match_report(stored, now)

    assert report.done
    assert "the camera's +0.33 counted in" in str(report.rows[0].sentence)


def test_aperture_and_filter_count_in_stops() -> None:
    """f/8 instead of f/11 takes a stop more light, a filter of a stop takes it back."""
    a, b = built().setup, built().setup
    a = a._replace(details={"aperture": "f/11"})
    b = b._replace(details={"aperture": "f/8"}, filter_stops=0.25)

    assert camera_stops(a, b) == pytest.approx(0.75)


def test_another_head_is_recognised_by_its_name() -> None:
    """The sentence names the head that stands in, and the power that still brings the light back."""
    lights = [HEADS[0]._replace(fixture="E"), *HEADS[1:]]
    row = match_report(built(), built((160.0, *STORED[1:]), lights)).rows[0]

    assert str(row.replaced) == "head E instead of A"
    assert row.move is not None
    assert row.move.power_stops == pytest.approx(-2.0)


def test_another_head_is_recognised_by_its_output() -> None:
    """The same dial and distance and a stop less: a dial that stands elsewhere is said first; else another head or modifier."""
    row = match_report(built(), off_by(-1.0, 0, 0, 0)).rows[0]

    assert str(row.replaced) == (
        "1.0 stop less at the same power and distance: it reads like 1/16, 1/8 was said: look at the dial; else another head, "
        "tube or modifier?"
    )


def test_a_dial_at_full_power_cannot_stand_higher() -> None:
    """A stop more than at full power is no dial's doing."""
    places = [PLACES[0]._replace(power_text="1/1", power_stops=0.0), *PLACES[1:]]
    row = match_report(built(places=places), built((2 * STORED[0], *STORED[1:]), places=places)).rows[0]

    assert str(row.replaced) == "1.0 stop more at the same power and distance: another head, tube or modifier?"


def test_another_modifier_is_named_even_when_the_light_matches() -> None:
    """A smaller source whose light at the face is right matches, and is named: the shadows are others."""
    places = [PLACES[0]._replace(width_m=0.6), *PLACES[1:]]
    row = match_report(built(), built(places=places)).rows[0]

    assert row.within
    assert "another shape or size of source" in str(row.sentence)


def test_a_coarse_dial_has_half_its_step_as_tolerance() -> None:
    """A head of half stops is right when it is within a quarter."""
    lights = [HEADS[0]._replace(power_step_stops=0.5), *HEADS[1:]]
    row = match_report(built(lights=lights), built((320.0 * 2**0.2, *STORED[1:]), lights)).rows[0]

    assert row.tolerance_stops == pytest.approx(0.26)
    assert row.within


def test_what_is_missing_or_unmetered_keeps_the_match_open() -> None:
    """A light that is not there and one without its pop are said so; an extra one that burns, too."""
    now = built((320.0, None, 160.0, 100.0), [*HEADS[:3], HEADS[3]._replace(name="KICKER")])
    report = match_report(built(), now)
    rows = {row.light: row for row in report.rows}

    assert not report.done
    assert str(rows["FILL"].sentence) == "FILL waits for its pop"
    assert "missing" in str(rows["RIM"].sentence)
    assert report.extra == ("KICKER",)


def test_steady_light_is_not_set_against_flash() -> None:
    """Unlike readings give no difference but say what to do."""
    now = view(HEADS[:1], PLACES[:1], [read(0, 320.0)._replace(kind="steady", exposure_lxs=None, illuminance_lx=320.0)])
    row = match_report(built(), now).rows[0]

    assert row.difference_stops is None
    assert "meter it as then" in str(row.sentence)


def test_a_set_without_readings_never_matches() -> None:
    """Nothing to compare is not a match."""
    assert not match_report(built((None,) * 4), built()).done


def test_a_reflector_follows_its_source_in_the_second_round() -> None:
    """The key a stop under and its card with it: only the key is turned, the card is metered again."""
    lights = [HEADS[0], light(1, "CARD", "fill", source_light_id="l0")]
    places = [PLACES[0]._replace(id="-0"), placed(1)._replace(id="-1")]

    def pair(key: float, card: float) -> JudgedSet:
        readings = [
            read(0, key)._replace(placement_id="-0"),
            read(1, key + card, order=1, purpose="with")._replace(placement_id="-1"),
            read(1, key, order=2, purpose="without")._replace(placement_id="-1"),
        ]
        return view(lights, places, readings)

    now = pair(160.0, 40.0)
    turns = second_round(match_report(pair(320.0, 80.0), now), now, keep_common=False)

    assert [(turn.light_id, turn.move is None) for turn in turns] == [("l0", False), ("l1", True)]


@given(st.lists(st.floats(-2, 2), min_size=4, max_size=4))
def test_the_change_offered_closes_what_it_says(stops: list[float]) -> None:
    """Whatever the differences: after the change of the camera at most one light is out of its tolerance."""
    now = off_by(*stops)
    report = match_report(built(), now)
    if report.camera:
        assert report.common_stops is not None
        changed = now._replace(setup=now.setup._replace(iso=now.setup.iso * 2.0**-report.common_stops))
        after = match_report(built(), changed)
        assert sum(row.within for row in after.rows) >= 3
        assert sum(row.within for row in after.rows) > sum(row.within for row in report.rows)


@given(st.lists(st.floats(-2.5, 2.5), min_size=4, max_size=4))
def test_doing_what_is_told_closes_it(stops: list[float]) -> None:
    """Every move of the second round, done exactly, brings its light within its tolerance; what is not turned is within it."""
    now = off_by(*stops)
    report = match_report(built(), now)
    for turn in second_round(report, now, keep_common=False):
        row = report.rows[int(turn.light_id[1])]
        assert row.difference_stops is not None
        assert abs(row.difference_stops + (turn.move.achieved_stops if turn.move else 0.0)) <= row.tolerance_stops
        assert log2(row.now_lxs / row.stored_lxs) == pytest.approx(row.difference_stops)
