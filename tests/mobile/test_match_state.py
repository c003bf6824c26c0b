"""The match page without a window: a stored set beside its rebuild."""

from __future__ import annotations

import pytest

from meterlink.errors import NotInLibrary, UsageError
from meterlink.words.told import told
from mobile.desk import MATCH, Desk, Shot
from mobile.match_state import match_look
from mobile.metering_state import metering_look
from mobile.set_state import set_look


def stored(metered):
    """A set of two, placed and metered: key 400 lx·s, fill 200 lx·s."""
    one = metered(2)
    for name, azimuth in (("KEY", 40.0), ("FILL", -40.0)):
        one.desk.move_light(one.id_of(name), distance_m=1.5, azimuth_deg=azimuth, power_stops=-2.0, power_text="1/4")
        one.desk.hold_off(one.id_of(name), 0.0)
    one.desk.begin()
    one.pop(400.0)
    one.pop(200.0)
    one.stored_id = one.desk.shot.setup.id
    return one


def test_without_a_match_the_page_offers_set_ups_to_match_to() -> None:
    """Nothing under way: what could be built again, or that there is nothing yet."""
    assert match_look(Shot(), (("id", "Low key"),)).choices == (("id", "Low key"),)
    assert "No set-up to match to" in match_look(Shot()).hint


def test_a_rebuild_is_a_set_of_its_own_and_waits_for_each_light_as_it_was_metered(metered) -> None:
    """The stored set stays; the rebuild has its lights, their places, and the way the dome was held."""
    one = stored(metered)

    shot = one.desk.match_to(one.stored_id)

    assert shot.setup.id != one.stored_id
    assert [r.held_off_m for r in shot.requests] == [0.0, 0.0]
    shown = match_look(shot)
    assert [line.mark for line in shown.lines] == ["none", "none"]
    assert shown.lines[0].waiting
    assert shown.lines[0].stands == "was: f/8 +0.9, small source, at 1.50 m, 40° right, power 1/4"


def test_a_match_says_that_its_distances_are_the_stored_sets(metered) -> None:
    """Nobody said them for these pops: the page names the set that they come from, also after the app was killed."""
    one = stored(metered)
    one.desk.hold_off(one.id_of("KEY"), 0.1)
    one.desk.match_to(one.stored_id)

    for desk in (one.desk, one.reopened()):
        shown = metering_look(desk.shot)
        assert (shown.recalled, shown.instruction) == ("10 cm off, as in Set", "fire it alone, dome 10 cm off")
    one.desk.hold_off(one.id_of("KEY"), 0.2)
    assert metering_look(one.desk.shot).recalled == ""
    assert metering_look(one.reopened().shot).recalled == "20 cm off, as you said before"


def test_a_light_that_is_under_says_by_how_much_and_two_ways_to_close_it(metered) -> None:
    """Half a stop under: the dial up by half a stop, or nearer; inverse square: 1.5 m / 2^0.25 is 1.26 m, 24 cm closer."""
    one = stored(metered)
    one.desk.match_to(one.stored_id)

    one.pop(400.0 / 2**0.5)

    key, fill = match_look(one.desk.shot).lines
    assert (key.mark, key.difference) == ("retake", "0.5 stop under")
    assert "1/4 +0.5" in key.turn
    assert key.otherwise == "or 24 cm closer"
    assert key.can_move
    assert fill.waiting


def test_what_a_match_takes_as_turned_is_asked_for_before_the_pop(metered) -> None:
    """After the first round the key's dial is to go up by half a stop: the page says so; its pop stores that it was done."""
    one = stored(metered)
    one.desk.match_to(one.stored_id)
    one.pop(400.0 / 2**0.5)
    assert one.desk.shot.to_change == ""
    one.pop(200.0)

    shown = metering_look(one.desk.shot)
    assert shown.headline == "KEY"
    assert shown.instruction.startswith("KEY: ")
    assert "1/4 +0.5" in shown.instruction
    assert shown.instruction.endswith(". fire KEY again, dome at the face")
    one.pop(400.0)
    assert one.desk.shot.view.lights[0].placement.power_stops == pytest.approx(-1.5)
    assert one.desk.shot.to_change == ""


def test_what_was_done_is_taken_and_the_light_fired_once_more(metered) -> None:
    """After 'I did that' the placement is the new one, the light waits, and a pop at the old level matches."""
    one = stored(metered)
    one.desk.match_to(one.stored_id)
    one.pop(400.0 / 2**0.5)

    shot = one.desk.have_moved(one.id_of("KEY"))
    assert shot.view.lights[0].placement.power_stops == pytest.approx(-1.5)
    assert shot.waiting.light_id == one.id_of("KEY")
    one.pop(400.0)
    one.pop(200.0)

    shown = match_look(one.desk.shot)
    assert shown.done
    assert [line.mark for line in shown.lines] == ["good", "good"]
    assert shown.lines[0].turn == "within tolerance"


def test_all_lights_off_alike_are_closed_by_the_camera(metered) -> None:
    """Both a third of a stop under: one change of aperture or ISO instead of two dials."""
    one = stored(metered)
    one.desk.match_to(one.stored_id)

    for value in (400.0, 200.0):
        one.pop(value * 2 ** (-1 / 3))

    shown = match_look(one.desk.shot)
    assert "open up by 1/3 stop" in shown.camera
    said = [(line.difference, line.turn, line.otherwise, line.can_move) for line in shown.lines]
    assert said == [("0.3 stop under", "the camera closes it", "", False)] * 2, "no dial is told to be turned beside it"
    assert shown.camera in set_look(one.desk.shot).notes, "the set's page says the same"


def test_what_is_off_by_itself_is_turned_beside_the_cameras_change_and_by_that_much_only(metered) -> None:
    """Four lights a third under and one of them half a stop more: its dial makes up for the half stop, the camera for the third."""
    one = metered(5)
    for number, light in enumerate(one.desk.shot.lights):
        one.desk.move_light(light.id, distance_m=1.5, azimuth_deg=20.0 * number, power_stops=-2.0, power_text="1/4")
        one.desk.hold_off(light.id, 0.0)
    one.desk.begin()
    values = [640.0, 320.0, 160.0, 80.0, 40.0]
    for value in values:
        one.pop(value, u_rel=0.004)
    one.desk.match_to(one.desk.shot.setup.id)
    for value in values:
        one.pop(value * 2 ** (-1 / 3 if value != 320.0 else -5 / 6), u_rel=0.004)

    shown = match_look(one.desk.shot)
    fill = next(line for line in shown.lines if line.name == "FILL")
    assert shown.camera.startswith("4 of 5 lights are 0.3 stop under alike")
    assert (fill.difference, fill.turn, fill.can_move) == ("0.8 stop under", "turn it to 1/4 +0.5", True)
    assert {line.turn for line in shown.lines} - {fill.turn} == {"the camera closes it"}
    one.desk.have_moved(fill.light_id)
    assert one.desk.shot.view.state(fill.light_id).placement.power_stops == pytest.approx(-1.5)


def test_a_match_comes_back_after_a_kill_and_is_not_begun_twice(metered) -> None:
    """Started again it goes on with the same rebuild; choosing the stored set again makes no second copy."""
    one = stored(metered)
    one.desk.match_to(one.stored_id)
    one.pop(400.0)

    again = one.reopened()
    assert [line.mark for line in match_look(again.shot).lines] == ["good", "none"]
    again.match_to(one.stored_id)
    assert len(again.library.setups()) == 2
    again.close()


def test_a_match_that_is_ended_leaves_the_set(metered) -> None:
    """The rebuild stays in the library as a set like any other."""
    one = stored(metered)
    one.desk.match_to(one.stored_id)

    assert one.desk.end_match().match is None
    assert len(one.library.setups()) == 2


def test_what_cannot_be_matched_says_so(metered) -> None:
    """No lights, no such set-up, nothing to change: one sentence each; a damaged memory is no match."""
    one = stored(metered)
    one.desk.new_set("Empty")
    with pytest.raises(UsageError, match="no lights to match"):
        one.desk.match_to(one.desk.shot.setup.id)
    with pytest.raises(NotInLibrary):
        one.desk.match_to("0" * 32)
    one.desk.match_to(one.stored_id)
    with pytest.raises(UsageError, match="nothing to change"):
        one.desk.have_moved(one.id_of("KEY"))
    for nonsense in ("0" * 32, 7, ["x"]):
        one.library.remember(f"{MATCH}:{one.desk.shot.setup.id}", nonsense)
        assert Desk(one.library).shot.match is None


def test_a_light_in_doubt_is_the_one_thing_to_do_next_and_says_what_it_gave(metered) -> None:
    """Other readings speak against KEY's: no figure of now, what it gave then, and the page asks for that light alone."""
    one = stored(metered)
    one.desk.match_to(one.stored_id)
    one.pop(400.0)
    shot = one.desk.shot
    assert match_look(shot).again == ("", "")
    first = shot.match.rows[0]._replace(doubt=told("against_past_like", stops=2.0, like="1/2", said="1/8"))

    shown = match_look(shot._replace(match=shot.match._replace(rows=(first, *shot.match.rows[1:]))))

    key, fill = shown.lines
    assert shown.again == (one.id_of("KEY"), "KEY")
    assert (key.figure, key.difference, key.turn) == ("", "", "Fire it once more first.")
    assert key.stands == "was: f/8 +0.9"  # sqrt(400 * 100 / 330) = 11.0, a tenth below the true f/11.3
    assert (fill.waiting, fill.turn) == (False, "waits for its pop")
