"""What the set page shows: the table's own numbers, nothing worked out anew."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from meterlink.checks.findings import Finding
from meterlink.words.actions import Do
from meterlink.words.language import spoken_in
from meterlink.words.shared import finding_lines
from meterlink.words.told import Told, told
from mobile import set_state as state
from mobile.desk import Shot
from mobile.last_pop import Figure, last_pop
from mobile.lights_state import lights_look
from mobile.metering_state import metering_look


def placed(metered):
    """A set of two on the face and a hair light, placed and metered: 2:1 and 4:1 by construction."""
    one = metered(3)
    for name, azimuth in (("KEY", 40.0), ("FILL", -40.0), ("HAIR", 160.0)):
        one.desk.move_light(one.id_of(name), distance_m=1.5, azimuth_deg=azimuth, elevation_deg=0.0)
        one.desk.hold_off(one.id_of(name), 0.0)
    one.desk.begin()
    for value in (211.2, 105.6, 52.8):
        one.pop(value)
    return one


def test_without_a_set_the_page_is_empty() -> None:
    """No rows, no error."""
    assert not state.set_look(Shot()).rows


def test_a_row_shows_f_number_stops_and_ratio(metered) -> None:
    """f/11 against f/5.6 is two stops, 4:1 (common practice); here f/8, f/5.6 and f/4: 1 stop apart each, 2:1 and 4:1."""
    rows = state.set_look(placed(metered).desk.shot).rows

    assert [row.figure for row in rows] == [Figure("f/", "8", ""), Figure("f/", "5.6", ""), Figure("f/", "4", "")]
    assert rows[0].stops == "the key"
    assert rows[1].stops.startswith("−1.0 ± ")
    assert rows[2].stops.startswith("−2.0 ± ")
    assert [row.ratio for row in rows] == ["", "key to it 2:1", "key to it 4:1"]


def test_only_lights_on_the_face_have_a_share(metered) -> None:
    """Hair, rim and background lights have a ratio and no share."""
    rows = state.set_look(placed(metered).desk.shot).rows

    assert all("%" in row.share for row in rows[:2])
    assert rows[2].share == ""


def test_both_lighting_ratios_are_shown_by_name(metered) -> None:
    """Key to fill 2:1; key and fill to fill 3:1, since (2 + 1) : 1."""
    shown = state.set_look(placed(metered).desk.shot)

    assert (shown.second, shown.ratios[0]) == ("key : fill  2:1 ± 0.1 stop", "key + fill : fill  3:1 ± 0.1 stop")


def test_the_head_says_the_camera_until_key_to_fill_is_known_and_retake_where_the_key_is(metered) -> None:
    """What the camera is set to gives way to the ratio, and stands below the table then."""
    one = metered(2)
    assert state.set_look(one.desk.shot).second.startswith("ISO 100")

    one = placed(metered)
    assert any(line.startswith("ISO 100") for line in state.set_look(one.desk.shot).ratios)
    one.desk.move_light(one.id_of("KEY"), distance_m=1.2, azimuth_deg=40.0)
    one.desk.remember(free_order=False)
    one.desk.hold_off(one.id_of("KEY"), 0.5)
    one.desk.begin()
    one.pop(640.0)
    shown = state.set_look(one.desk.shot)
    assert shown.rows[0].verdict == "retake"
    assert (shown.aperture_doubted, shown.second_doubted) == (True, True)
    assert "retake" not in shown.aperture + shown.second


def test_the_aperture_says_what_is_left_over(metered) -> None:
    """From the key f/8; key and fill give log2(1.5) = 0.585 stop more, written as every light's figure is."""
    shown = state.set_look(placed(metered).desk.shot)

    assert (shown.aperture, shown.over) == ("Camera f/8", "")
    assert shown.ratios[2] == "key and fill together: f/8 +0.6"


def test_a_light_that_is_not_metered_has_no_number_and_says_so(metered) -> None:
    """No zero, no dash that looks like one: words."""
    one = metered(2)
    one.pop(211.2)

    row = state.set_look(one.desk.shot).rows[1]

    assert (row.figure, row.stops, row.band) == (Figure(), "", None)
    assert row.reason == "not metered"


def test_a_stale_light_has_no_number_and_names_its_old_one(metered) -> None:
    """Moved since: its place in the table is empty, its reason tells."""
    one = placed(metered)
    one.desk.move_light(one.id_of("FILL"), distance_m=1.2)

    row = state.set_look(one.desk.shot).rows[1]

    assert row.stale
    assert row.figure == Figure()
    assert "it read f/5.6" in row.reason


def test_a_band_stands_at_its_stops(metered) -> None:
    """The key at 0 and the fill one stop left of it, each inside its own interval."""
    rows = state.set_look(placed(metered).desk.shot).rows
    stop = 1 / (state.BAND_HIGH_STOPS - state.BAND_LOW_STOPS)

    assert rows[0].band.at - rows[1].band.at == pytest.approx(stop, abs=1e-6)
    assert rows[1].band.low < rows[1].band.at < rows[1].band.high
    assert rows[1].band.target_low is None


def test_a_wish_draws_its_tolerance_band(metered) -> None:
    """A fill wanted at −1 is on target, one wanted at −2 is not; impossible wishes are no wishes."""
    one = placed(metered)
    one.desk.revise_setup(details={"targets": {"fill": -1.0, "HAIR": -3.0, "KEY": "nonsense"}})

    rows = state.set_look(one.desk.shot).rows

    assert rows[0].band.target_low is None
    assert rows[1].band.on_target
    assert not rows[2].band.on_target
    assert rows[1].band.target_high - rows[1].band.target_low == pytest.approx(0.2 / 7)


@pytest.mark.parametrize(("stops", "place"), [(-5, 0.0), (2, 1.0), (-50, 0.0), (50, 1.0), (0, 5 / 7)])
def test_places_are_held_at_the_ends_of_the_scale(stops: float, place: float) -> None:
    """A light ten stops under still stands on the scale."""
    assert state.place_on_band(stops) == pytest.approx(place)


@pytest.mark.parametrize(
    ("kind", "rank", "light", "advice", "severity", "act"),
    [
        ("stale", 3.0, "KEY", told("do", do=Do("meter", light="KEY")), "retake", "meter"),
        (
            "no_distance",
            1.5,
            "KEY",
            told("no_distance_do", do=Do("give_distance", light="KEY")),
            "corrected",
            "place",
        ),
        ("sum_missing", 0.5, "", told("sum_missing_do", do=Do("meter_together")), "none", "together"),
        ("sum", 3.2, "FILL", told("alone_again", light="FILL", do=Do("meter", light="FILL")), "retake", "meter"),
        ("sum", 3.2, "FILL", told("all_but", light="FILL", do=Do("meter_some_together", lights=("KEY",))), "retake", "together"),
        ("evenness", 1.2, "", told("head_to_toe_do"), "corrected", ""),
    ],
)
def test_a_finding_has_a_shape_words_without_commands_and_a_tap(
    metered, kind: str, rank: float, light: str, advice: Told, severity: str, act: str
) -> None:
    """Each finding of the checks is shown with what to do, and the tap that begins to do it."""
    shot = metered(2).desk.shot

    (line,) = finding_lines([Finding(kind, rank, light, told("note", note="what was seen"), advice, {})])
    shown = state.finding_look(shot, line, 0)

    assert (shown.severity, shown.act) == (severity, act)
    assert shown.todo
    assert "meterlink" not in shown.todo
    assert bool(shown.act_label) == bool(act)


def test_every_finding_of_a_real_set_is_shown_worst_first(metered) -> None:
    """As many as the terminal prints, in their order, none with a command of the command line in it."""
    one = placed(metered)
    one.desk.move_light(one.id_of("FILL"), distance_m=1.2)

    shot = one.desk.shot
    shown = state.set_look(shot)

    assert [card.title for card in shown.findings] == [str(line.said) for line in finding_lines(shot.findings)]
    assert shown.findings[0].severity == "retake"
    assert not any("meterlink " in f.title + f.todo for f in shown.findings)
    assert not any("meterlink " in note for note in shown.notes)


def test_where_a_light_stands_is_asked_for_before_another_pop_of_all(metered) -> None:
    """All were fired together while nobody knew the directions: the card says what its tap does, and not to fire again."""
    one = metered(2)
    for value in (211.2, 105.6):
        one.pop(value)
    one.desk.wait_for_all()
    one.pop(281.0)
    (card,) = [card for card in state.set_look(one.desk.shot).findings if "cross-checked" in card.title]

    assert (card.act, card.todo) == ("place", "Give distance and direction of KEY; no new pop is needed.")
    assert last_pop(one.desk.shot)["verdict_text"] == "not checked"
    assert last_pop(one.desk.shot)["spoken"].endswith(", not checked")


def test_the_pop_of_all_says_in_a_word_what_it_told(metered) -> None:
    """It agrees with the sum of the two, f/8 and f/5.6 by construction, or it does not; room light is none of it."""
    one = placed(metered)
    said = []
    for value in (281.0, 150.0):
        one.desk.wait_for_all()
        one.pop(value)
        said.append(last_pop(one.desk.shot)["verdict_text"])

    assert said == ["agrees", "disagrees"]


def test_that_a_pop_was_not_kept_is_told_until_something_else_is_asked(metered) -> None:
    """A stray pop after the walk; its note is gone with a distance that is said, and with a light that is touched."""
    one = metered(2)
    for value in (211.2, 105.6):
        one.pop(value)
    notes = []
    for answer in (lambda: one.desk.hold_off(one.id_of("FILL"), 0.05), lambda: one.desk.wait_for(one.id_of("KEY"))):
        one.pop(50.0)
        notes.append(last_pop(one.desk.shot)["note"])
        answer()
        notes.append(last_pop(one.desk.shot)["note"])

    assert notes == ["No light waits: this pop was not kept.", ""] * 2


def test_what_several_lights_share_is_one_card_as_in_the_terminal(metered) -> None:
    """Three lights not metered yet, whose direction nobody gave: two cards, and a walk through all of them."""
    one = metered(3)
    shown = state.set_look(one.desk.shot)

    assert [card.act for card in shown.findings] == ["walk", "place"]
    assert all("KEY, FILL, HAIR" in card.title for card in shown.findings)
    assert "KEY, FILL, HAIR" in shown.findings[1].todo
    assert shown.findings_line.startswith("2 findings")


def test_a_shutter_beyond_the_sync_speed_is_said_where_the_camera_stands(metered) -> None:
    """At 1/500 s beside the shutter itself, not only among the findings; nothing at 1/125 s."""
    one = metered(2)
    one.pop(211.2)
    one.desk.revise_setup(shutter_s=1 / 128)
    assert "sync" not in state.camera_text(one.desk.shot)
    one.desk.revise_setup(shutter_s=1 / 512)

    assert state.camera_text(one.desk.shot).endswith("1/500 s: faster than the sync speed of 1/200 s")


def test_what_is_well_is_said_with_its_number(metered) -> None:
    """An answer is no finding: it stands below them, one line each; nothing was looked at, nothing is said."""
    one = placed(metered)
    assert state.set_look(one.desk.shot).well == ()
    one.desk.wait_for_all()
    one.pop(281.0)

    shot = one.desk.shot
    shown = state.set_look(shot)

    assert len(shown.well) == 1
    assert "sum" in shown.well[0]
    assert "stop" in shown.well[0]
    assert "\n" not in shown.well[0]
    assert shown.well == tuple(answer.text for answer in one.desk.session.looked_at()[1])
    assert not any(answer in finding.title for answer in shown.well for finding in shown.findings)
    assert state.set_look(shot._replace(answers=())).well == ()


@pytest.mark.parametrize(
    ("stops", "doubt", "head"),
    [
        (-0.4, 0.05, "all together 0.4 stop less than the sum"),
        (0.4, 0.05, "all together 0.4 stop more than the sum"),
        (-0.1, 0.06, ""),
    ],
)
def test_the_line_of_findings_says_the_sum_in_few_words(metered, stops: float, doubt: float, head: str) -> None:
    """What all lights together gave stands in the line whole; a gap within its doubt (k=2) is not spoken of."""
    said = told("sum_less", stops=stops, u95=2 * doubt)
    numbers = {"residual_stops": stops, "u_residual_stops": doubt}

    (line,) = finding_lines([Finding("sum", 3.2, "", said, said, numbers)])
    shown = state.finding_look(placed(metered).desk.shot, line, 0)

    assert shown.head == head if head else "the sum" not in shown.head


def texts_in(shown: object) -> Iterator[str]:
    """Every text of a screen."""
    if isinstance(shown, str):
        yield shown
    elif isinstance(shown, tuple | list):
        for one in shown:
            yield from texts_in(one)


def test_german_screens_write_every_figure_with_a_comma(metered) -> None:
    """The three pages of a set: f-numbers, powers, lengths and stops alike; what a person typed with a point, too."""
    one = metered(2)
    one.desk.move_light(one.id_of("KEY"), distance_m=1.25, power_stops=-1.7, power_text="1/4 +0.3")
    one.desk.hold_off(one.id_of("KEY"), 0.025)
    for exposure_lxs in (640.0, 190.0):
        one.pop(exposure_lxs)
    with spoken_in("de"):
        shot = one.desk.shot
        texts = [text for look in (state.set_look, lights_look, metering_look) for text in texts_in(look(shot))]

    assert [text for text in texts if "+0,3" in text]
    assert not [text for text in texts if re.search(r"[0-9]\.[0-9]", text.replace("t0.", ""))]
