"""The desk: what a person at the phone can do, durable at once, and back after a kill."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from meterlink.errors import GeometryError, MeterlinkError, NotInLibrary, UsageError
from meterlink.library.store import Library
from meterlink.metering.rebuild import rebuild_of
from meterlink.records import Measurement
from mobile.desk import Desk
from mobile.last_pop import last_pop
from mobile.metering_state import metering_look
from mobile.prefs import Prefs
from tests.mobile.desks import Metered
from tests.mobile.made_up_set import open_made_up

Make = Callable[..., Metered]


def test_without_a_set_everything_is_empty_and_says_what_to_do(metered: Make) -> None:
    """A new library shows nothing, and a pop's work is refused in one sentence."""
    desk = metered(0).desk

    assert desk.shot.setup is None
    with pytest.raises(NotInLibrary, match="begin one on the first page"):
        desk.begin()


def test_a_new_set_waits_for_its_first_light(metered: Make) -> None:
    """Beginning a set of four makes them and waits for the key."""
    shot = metered(4).desk.shot

    assert [light.name for light in shot.lights] == ["KEY", "FILL", "HAIR", "BACKGROUND"]
    assert [light.point for light in shot.lights] == ["face", "face", "hair", "background"]
    assert shot.light(shot.waiting.light_id).name == "KEY"
    assert shot.light(shot.following.light_id).name == "FILL"


def test_two_sets_of_one_name_are_told_apart(metered: Make) -> None:
    """The second set begun the same way gets a number."""
    one = metered(1)

    one.desk.new_set("Set")

    assert one.desk.shot.setup.name == "Set 2"


def test_a_pop_is_logged_to_the_waiting_light_and_the_next_comes_up(metered: Make) -> None:
    """Four pops, no tap between them, fill the table."""
    one = metered(4)

    outcomes = [one.pop(value) for value in (640.0, 320.0, 400.0, 200.0)]

    assert [o.kind for o in outcomes] == ["logged"] * 4
    assert one.desk.shot.done
    # A half of the light is one stop less, by definition.
    assert one.desk.shot.table.rows[1].from_key_stops == pytest.approx(-1.0, abs=1e-6)


def test_with_auto_advance_off_the_light_stays_until_next_is_tapped(metered: Make) -> None:
    """The walk waits for the same light after its pop, and goes on by ``skip``."""
    one = metered(2)
    one.desk.remember(auto_advance=False)

    one.pop(640.0)

    assert one.desk.shot.light(one.desk.shot.waiting.light_id).name == "KEY"
    assert one.desk.skip().waiting.light_id == one.id_of("FILL")


@pytest.mark.parametrize("pops", [0, 1, 2, 3])
def test_a_kill_in_the_middle_brings_back_set_readings_and_place_in_the_order(metered: Make, pops: int) -> None:
    """A new start finds the same light waiting and every reading, wherever the old one was killed."""
    one = metered(4)
    for _ in range(pops):
        one.pop(500.0)

    again = one.reopened()

    assert again.shot.position == pops
    assert again.shot.requests == one.desk.shot.requests
    assert [s.judged is not None for s in again.shot.view.lights] == [i < pops for i in range(4)]
    again.close()


def test_what_a_person_likes_survives_a_kill(metered: Make) -> None:
    """Theme, text size, units and the held-off distance of a light come back."""
    one = metered(2)
    one.desk.remember(theme="paper", text_scale=1.5, units="imperial")
    one.desk.hold_off(one.id_of("FILL"), 0.2)

    again = one.reopened()

    assert again.prefs[:3] == ("paper", 1.5, "imperial")
    assert dict(again.shot.held)[one.id_of("FILL")] == 0.2
    assert dict(again.shot.held)[one.id_of("KEY")] is None
    again.close()


def test_the_held_off_distance_goes_with_the_light_into_its_reading(metered: Make) -> None:
    """Set for the fill, it is in the fill's reading and not in the key's, also when the walk had begun before."""
    one = metered(2)
    one.desk.hold_off(one.id_of("FILL"), 0.2)

    one.pop(640.0)
    one.pop(320.0)

    held = [s.reading.held_off_m for s in one.desk.shot.view.lights]
    assert held == [None, 0.2]


def test_a_held_off_distance_beyond_the_light_is_refused_as_on_the_command_line(metered: Make) -> None:
    """The dome cannot be further off than the light is."""
    one = metered(1)
    one.desk.move_light(one.id_of("KEY"), distance_m=1.0)

    with pytest.raises(GeometryError, match="the light is only 1 m away"):
        one.desk.hold_off(one.id_of("KEY"), 1.2)


def test_taking_back_waits_for_the_light_again(metered: Make) -> None:
    """After undo the last light waits and has no reading."""
    one = metered(3)
    one.pop(640.0)
    one.pop(320.0)

    shot = one.desk.undo()

    assert shot.light(shot.waiting.light_id).name == "FILL"
    assert shot.view.state(one.id_of("FILL")).reading is None
    assert shot.outcome is None  # what was said of the pop is gone with it


def test_a_distance_said_last_is_taken_back_alone(metered: Make) -> None:
    """Scale and reading go back to the distance before, past all moves of the scale; the pop goes with the next step back."""
    one = metered(3)
    key = one.id_of("KEY")
    one.desk.hold_off(key, 0.05)
    one.pop(640.0)
    one.desk.hold_off(key, 0.1)
    one.desk.hold_off(key, 0.2)

    shot = one.desk.undo()

    assert shot.view.state(key).reading.held_off_m == 0.05
    assert dict(shot.held)[key] == 0.05
    assert last_pop(shot)["note"] == "KEY: held off 20 cm is taken back; as before: held off 5.0 cm"
    assert one.desk.undo().view.state(key).reading is None


def test_a_stray_pop_is_given_to_the_light_that_fired(metered: Make) -> None:
    """Given to another light, the reading counts there and the first light is waited for again."""
    one = metered(3)
    one.pop(640.0)

    shot = one.desk.give_to("HAIR")

    assert shot.view.state(one.id_of("HAIR")).reading is not None
    assert shot.light(shot.waiting.light_id).name == "KEY"


def test_a_reflector_is_not_offered_for_one_pop(metered: Make) -> None:
    """The light that the last pop may be given to is one that it can be a reading of."""
    one = metered(2)
    one.desk.add_light("CARD", "fill", source_id=one.id_of("KEY"), shape="rectangle", width_m=1.0, height_m=1.0, distance_m=0.7)
    one.pop(640.0)

    assert [name for _, name in metering_look(one.desk.shot).give_to] == ["FILL"]


def test_moving_a_light_makes_its_reading_stale_but_no_change_makes_nothing(metered: Make) -> None:
    """Typing the same distance again keeps the reading; another distance does not."""
    one = metered(1)
    key = one.id_of("KEY")
    one.desk.move_light(key, distance_m=1.2)
    one.pop(640.0)

    one.desk.move_light(key, distance_m=1.2)
    assert one.desk.shot.view.state(key).stale is None

    one.desk.move_light(key, distance_m=1.0)
    assert one.desk.shot.view.state(key).stale is not None


def test_the_order_of_lights_can_be_changed(metered: Make) -> None:
    """Earlier and later move a light by one; beyond the ends nothing happens."""
    one = metered(3)

    one.desk.reorder(one.id_of("HAIR"), -1)
    one.desk.reorder(one.id_of("KEY"), -1)

    assert [light.name for light in one.desk.shot.lights] == ["KEY", "HAIR", "FILL"]


def test_a_light_that_feeds_a_reflector_stays(metered: Make) -> None:
    """Taking out the source of a reflector is refused with the reflector's name; without one it goes."""
    one = metered(2)
    card = one.desk.add_light("CARD", "fill", source_id=one.id_of("KEY"))

    with pytest.raises(UsageError, match="feeds the reflector CARD"):
        one.desk.remove_light(one.id_of("KEY"))
    one.desk.remove_light(card.id)
    one.desk.remove_light(one.id_of("KEY"))
    assert [light.name for light in one.desk.shot.lights] == ["FILL"]


def test_removing_the_light_that_is_waited_for_waits_for_the_next(metered: Make) -> None:
    """The walk never points at a light that is gone."""
    one = metered(2)

    one.desk.remove_light(one.id_of("KEY"))

    assert one.desk.shot.waiting.light_id == one.id_of("FILL")


def test_a_reflector_is_metered_by_two_pops_of_its_source(metered: Make) -> None:
    """With and without it: the difference is its light."""
    one = metered(1)
    card = one.desk.add_light("CARD", "fill", source_id=one.id_of("KEY"))
    one.desk.begin()

    for value in (600.0, 780.0, 600.0):
        one.pop(value)

    state = one.desk.shot.view.state(card.id)
    # Incident light adds (superposition): 780 with the card less 600 without is 180 lx·s from the card.
    assert state.reading.exposure_lxs == pytest.approx(180.0)


@pytest.mark.parametrize("began", [True, False], ids=["in the walk", "alone"])
def test_how_a_light_is_to_be_metered_counts_whether_or_not_it_is_in_the_walk(metered: Make, began: bool) -> None:
    """Asked for at a point of its own, three pops, toward the camera: all of it holds; what was declared of the dome stays."""
    one = metered(3)
    fill = one.id_of("FILL")
    one.desk.session.begin(
        [one.desk.session.request(one.desk.session.light(n), held_off_m=0.2) for n in ("KEY", "FILL")[: 1 + began]]
    )

    shot = one.desk.wait_for(fill, point="left cheek", pops=3, aim="camera")

    asked = shot.waiting
    assert (asked.light_id, asked.point, asked.pops, asked.aim) == (fill, "left cheek", 3, "camera")
    assert asked.held_off_m == (0.2 if began else None)
    one.pop(300.0)
    assert one.desk.shot.waiting.light_id == fill


def test_the_distance_scale_is_the_touched_lights(metered: Make) -> None:
    """The fill's pop was the last one: its is the scale until the key is touched, then the key's, and after its pop still so."""
    one = metered(3)
    one.pop(300.0)
    one.pop(80.0)
    assert one.desk.shot.held_id == one.id_of("FILL")

    shot = one.desk.wait_for(one.id_of("KEY"))

    assert shot.held_id == one.id_of("KEY")
    one.pop(310.0)
    assert one.desk.shot.held_id == one.id_of("KEY")


def test_a_rebuild_begun_at_a_terminal_is_judged_the_same(metered: Make) -> None:
    """Begun there with a wide tolerance: the page, opened afterwards, says what was said while it was metered."""
    one = metered(3)
    one.pop(300.0)
    one.pop(80.0)
    rebuild = rebuild_of(one.library, one.desk.session, tolerance_stops=0.4)
    rebuild.begin_rebuild()

    desk = Desk(one.library)

    assert [row.tolerance_stops for row in desk.shot.match.rows] == [0.4, 0.4]
    assert desk.shot.match == rebuild.report()


def test_both_pops_of_a_reflector_are_taken_as_was_asked(metered: Make) -> None:
    """Asked for at another point while it is in the walk: the pop without it is taken there too."""
    one = metered(1)
    card = one.desk.add_light(
        "CARD", "fill", source_id=one.id_of("KEY"), shape="rectangle", width_m=1.0, height_m=1.0, distance_m=0.7
    )
    one.desk.begin()

    one.desk.wait_for(card.id, point="left cheek")

    of_card = [r for r in one.desk.session.walk.requests if r.light_id == card.id]
    assert [(r.purpose, r.point) for r in of_card] == [("with", "left cheek"), ("without", "left cheek")]


def test_all_lights_together_are_waited_for_as_one(metered: Make) -> None:
    """The sum check's pop belongs to the lights on the face only; one light alone cannot be summed."""
    one = metered(3)

    shot = one.desk.wait_for_all()

    assert shot.waiting.purpose == "together"
    assert shot.waiting.lit == (one.id_of("KEY"), one.id_of("FILL"))
    with pytest.raises(UsageError, match="needs two lights"):
        metered(1).desk.wait_for_all()


def test_the_dome_s_place_is_said_of_the_pop_of_all_lights_too(metered: Make) -> None:
    """The slider before the pop of all lights: the request, and then its reading, carry the distance; the screen offers it."""
    one = metered(2)
    one.desk.wait_for_all()
    assert metering_look(one.desk.shot).can_hold

    shot = one.desk.hold_off(None, 0.0)

    assert shot.waiting.held_off_m == 0.0
    one.pop(500.0)
    assert [r.held_off_m for r in one.desk.shot.view.readings if r.purpose == "together"] == [0.0]


def test_a_copy_takes_lights_and_places_but_no_readings(metered: Make) -> None:
    """A template is the set without its readings, and is used at once."""
    one = metered(2)
    one.desk.move_light(one.id_of("KEY"), distance_m=1.3)
    one.pop(640.0)
    first = one.desk.shot.setup

    shot = one.desk.copy(first.id)

    assert shot.setup.id != first.id
    assert shot.view.lights[0].placement.distance_m == 1.3
    assert shot.last is None
    assert not shot.done


@pytest.mark.parametrize(
    "data",
    [
        None,
        [],
        "text",
        {
            "theme": "neon",
            "text_scale": 50,
            "units": 3,
            "speech": "yes",
            "shutter_s": -1,
            "iso": True,
            "sensor_url": "x" * 600,
        },
        {"unknown": 1},
    ],
)
def test_impossible_memories_are_defaults(data: object) -> None:
    """What a damaged or newer library remembers of taste never stops the app."""
    assert Prefs.from_memory(data) == Prefs()


def test_an_error_leaves_the_snapshot_as_it_was(metered: Make) -> None:
    """A refused change changes nothing that is shown."""
    one = metered(2)
    before = one.desk.shot

    with pytest.raises(MeterlinkError):
        one.desk.move_light(one.id_of("KEY"), distance_m=-1.0)

    assert one.desk.shot is before


def test_two_desks_on_one_library_see_each_other_after_a_change(metered: Make) -> None:
    """The command line and the app may work on one library at once."""
    one = metered(2)
    other = Desk(one.library)
    one.pop(640.0)

    assert other.skip().view.lights[0].judged is not None


def test_a_light_pointed_at_after_the_walk_leaves_the_others_as_they_are(tmp_path) -> None:
    """KEY once more when all are metered: the pops of FILL and HAIR had gone to BACKGROUND, which was turned since."""
    with Library.open(tmp_path / "made-up.sqlite") as library:
        desk = Desk(library)
        open_made_up(desk)
        session = desk.session
        before = {one.light.name: one.reading for one in session.view().lights if one.light.name != "KEY"}
        key = session.view().lights[0].reading

        session.wait_for(session.request(session.light("KEY")))
        again = session.take(Measurement(
            "flash", 1000.0, key.sensor_id, key.calibration_id, exposure_lxs=key.exposure_lxs, u_rel=0.01, peak_lx=3e5,
            t05_s=key.t05_s, t01_s=key.t01_s,
        ))  # fmt: skip

        assert (again.light.name, again.numbers["put_right"]) == ("KEY", [])
        assert {one.light.name: one.reading for one in session.view().lights if one.light.name != "KEY"} == before
