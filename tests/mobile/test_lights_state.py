"""The lights page's fields: what they show, what they take, what they refuse."""

from __future__ import annotations

import pytest

from meterlink.errors import MeterlinkError, UnitError, UsageError
from meterlink.words import placed
from meterlink.words.language import spoken_in
from mobile import lights_state as state
from mobile.ring_state import marks_of


def set_shape(desk, light_id: str, shape: str) -> None:
    """Choose the first of the usual fronts that has this shape."""
    state.set_source(desk, light_id, next(one for one in state.sources_of(desk) if one.shape == shape and one.width_m != 0.2))


def placement(one, name: str = "KEY"):
    """Where a light stands now."""
    return one.desk.shot.view.state(one.id_of(name)).placement


@pytest.mark.parametrize(
    ("field", "text", "attribute", "value"),
    [
        ("distance", "120", "distance_m", 1.2),
        ("distance", "1.4m", "distance_m", 1.4),
        ("distance", "4ft6", "distance_m", 4.5 * 0.3048),  # a foot is 0.3048 m exactly
        ("azimuth", "40 left", "azimuth_deg", -40.0),
        ("azimuth", "-30°", "azimuth_deg", -30.0),
        ("elevation", "30 up", "elevation_deg", 30.0),
        ("power", "1/8", "power_stops", -3.0),
        ("grid", "40", "grid_deg", 40.0),
        ("gel", "half amber", "gel", "half amber"),
        ("stand_height", "210", "stand_height_m", 2.1),
    ],
)
def test_a_field_takes_what_people_say(metered, field: str, text: str, attribute: str, value: object) -> None:
    """Typed text becomes a new placement in SI units and stops."""
    one = metered(1)

    state.set_field(one.desk, one.id_of("KEY"), field, text)

    assert getattr(placement(one), attribute) == (pytest.approx(value) if isinstance(value, float) else value)


def test_what_is_shown_changes_nothing_when_it_is_left_as_it_is(metered) -> None:
    """A shown length is rounded; leaving the field must not move the light by half a centimetre."""
    one = metered(1)
    key = one.id_of("KEY")
    one.desk.move_light(key, distance_m=1.2345)
    one.pop(500.0)
    shown = next(f for f in state.lights_look(one.desk.shot, key).edit.fields if f.name == "distance")

    state.set_field(one.desk, key, "distance", shown.text)

    assert placement(one).distance_m == 1.2345
    assert one.desk.shot.view.state(key).stale is None


@pytest.mark.parametrize(
    ("field", "text"),
    [
        ("distance", "0"),
        ("distance", "-1m"),
        ("distance", "60m"),
        ("distance", "far"),
        ("distance", "1e400"),
        ("elevation", "95"),
        ("azimuth", "400"),
        ("azimuth", "north"),
        ("power", "2/0"),
        ("power", "much"),
        ("size", "0"),
        ("size", "90x"),
        ("size", "5000"),
        ("name", "  "),
        ("name", "N" * 200),
        ("full_power", "0"),
        ("full_power", "x" * 5000),
        ("feather", "120"),
        ("grid", "wide"),
        ("power_step", "nan"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line_and_changes_nothing(metered, field: str, text: str) -> None:
    """Every field refuses nonsense with one sentence, and the light stays where it stood."""
    one = metered(1)
    key = one.id_of("KEY")
    set_shape(one.desk, key, "disk")
    before = one.desk.shot

    with pytest.raises(MeterlinkError) as refused:
        state.set_field(one.desk, key, field, text)

    assert "\n" not in str(refused.value)
    assert len(str(refused.value)) < 300
    assert one.desk.shot is before


def test_two_lights_of_one_name_are_refused(metered) -> None:
    """Renamed to a name that there is, the light keeps its own."""
    one = metered(2)

    with pytest.raises(UsageError, match="already"):
        state.set_field(one.desk, one.id_of("FILL"), "name", "key")

    assert [light.name for light in one.desk.shot.lights] == ["KEY", "FILL"]


@pytest.mark.parametrize(
    ("shape", "text", "size"),
    [
        ("disk", "90", (0.9, None)),
        ("disk", "36in", (0.9144, None)),
        ("rectangle", "60x90", (0.6, 0.9)),
        ("rectangle", "14x39in", (0.3556, 0.9906)),
    ],
)
def test_sizes_are_typed_in_centimetres_or_inches(
    metered, shape: str, text: str, size: tuple[float, float | None]
) -> None:
    """90 is centimetres where those are shown; an inch is 2.54 cm exactly."""
    one = metered(1)
    key = one.id_of("KEY")
    set_shape(one.desk, key, shape)

    state.set_field(one.desk, key, "size", text)

    p = placement(one)
    assert p.width_m == pytest.approx(size[0])
    assert p.height_m == (None if size[1] is None else pytest.approx(size[1]))


def test_a_shape_with_the_wrong_number_of_sizes_says_which_it_has(metered) -> None:
    """A disk has one size, a square-cornered source two."""
    one = metered(1)
    key = one.id_of("KEY")
    set_shape(one.desk, key, "disk")
    with pytest.raises(UnitError, match="diameter"):
        state.set_field(one.desk, key, "size", "60x90")
    set_shape(one.desk, key, "rectangle")
    with pytest.raises(UnitError, match="two sizes"):
        state.set_field(one.desk, key, "size", "90")


def test_a_front_of_the_kit_brings_its_size_and_name(metered) -> None:
    """Chosen by its drawing, a modifier that was used before gives its size, its shape and its own name."""
    one = metered(2)
    fill, key = one.id_of("FILL"), one.id_of("KEY")
    one.desk.change_light(fill, modifier="octa 90")
    one.desk.move_light(fill, shape="disk", width_m=0.9)
    own = next(source for source in state.sources_of(one.desk) if source.modifier)

    state.set_source(one.desk, key, own)

    light = one.desk.shot.view.state(key)
    assert (light.light.modifier, light.placement.shape, light.placement.width_m) == ("octa 90", "disk", 0.9)


def test_an_undone_change_needs_no_new_pop(metered) -> None:
    """Put back, the light stands as it stood and its reading counts again."""
    one = metered(1)
    one.pop(600.0)
    before = one.desk.shot.view.state(one.id_of("KEY"))
    state.step_stop(one.desk, one.id_of("KEY"), -1)
    assert one.desk.shot.view.state(one.id_of("KEY")).stale is not None or before.placement.power_stops is None

    one.desk.put_back(before)

    after = one.desk.shot.view.state(one.id_of("KEY"))
    assert (after.stale, after.placement.power_stops) == (None, before.placement.power_stops)
    assert after.reading.exposure_lxs == before.reading.exposure_lxs


@pytest.mark.parametrize(
    ("step", "start", "taps", "power"),
    [
        ("tenth", -1.0, [1], -0.9),
        ("tenth", -1.0, [-1, -1], -1.2),
        ("third", -1.0, [1], -2 / 3),
        ("third", -0.9, [1], -2 / 3),  # on to the dial's own grid
        ("third", -0.9, [-1], -1.0),
        ("tenth", 0.0, [1], 0.0),  # full power is the end
        ("tenth", -8.0, [-1], -8.0),
    ],
)
def test_the_dial_turns_in_its_steps_and_stops_at_its_ends(
    metered, step: str, start: float, taps: list[int], power: float
) -> None:
    """Tenths or thirds as liked, on the grid of the dial, between lowest and full power."""
    one = metered(1)
    key = one.id_of("KEY")
    one.desk.remember(step=step)
    one.desk.move_light(key, power_stops=start)

    for tap in taps:
        state.step_power(one.desk, key, tap)

    assert placement(one).power_stops == pytest.approx(power, abs=1e-6)


def test_the_fixtures_own_step_and_lowest_power_win(metered) -> None:
    """A dial of half stops down to 1/16 turns in half stops and ends there."""
    one = metered(1)
    key = one.id_of("KEY")
    one.desk.change_light(key, power_step_stops=0.5, power_min_stops=-4.0)
    one.desk.move_light(key, power_stops=-3.5)

    for _ in range(3):
        state.step_power(one.desk, key, -1)

    assert placement(one).power_stops == -4.0


def test_a_reflector_is_added_as_one_and_has_no_power(metered) -> None:
    """It knows its source, has a size to begin with, and its dial is refused."""
    one = metered(1)

    card = state.add_light(one.desk, "fill", one.id_of("KEY"))

    edit = state.lights_look(one.desk.shot, card.id).edit
    assert edit.reflector_of == "KEY"
    assert "power" not in [f.name for f in edit.fields]
    with pytest.raises(UsageError, match="passive reflector"):
        state.step_power(one.desk, card.id, 1)


def test_new_lights_get_names_that_are_free(metered) -> None:
    """A second rim light is RIM 2."""
    one = metered(1)

    names = [state.add_light(one.desk, "rim").name for _ in range(2)]

    assert names == ["RIM", "RIM 2"]


def test_a_handle_let_go_gives_whole_centimetres_and_degrees(metered) -> None:
    """Nobody places a light to the millimetre by finger; far outside is held at the limits."""
    one = metered(1)
    key = one.id_of("KEY")

    state.place_by_ring(one.desk, key, 1.23456, -41.7)
    assert (placement(one).distance_m, placement(one).azimuth_deg) == (1.23, -42.0)
    state.place_by_ring(one.desk, key, 0.001, 0.2)
    assert placement(one).distance_m == state.MIN_DISTANCE_M


def test_a_hair_light_is_metered_at_its_own_point(metered) -> None:
    """Its role moves its point, and back to the face when it becomes a fill."""
    one = metered(1)
    key = one.id_of("KEY")

    state.set_role(one.desk, key, "hair")
    assert one.desk.shot.light(key).point == "hair"
    state.set_role(one.desk, key, "fill")
    assert one.desk.shot.light(key).point == "face"
    with pytest.raises(UsageError):
        state.set_role(one.desk, key, "nonsense")


def test_a_line_says_where_a_light_stands_in_the_units_that_are_liked(metered) -> None:
    """190 cm is 75 in (common practice: 1 in = 2.54 cm exactly)."""
    one = metered(1)
    key = one.id_of("KEY")
    set_shape(one.desk, key, "disk")
    state.set_field(one.desk, key, "size", "190")
    one.desk.move_light(key, distance_m=1.5, azimuth_deg=40.0, elevation_deg=30.0)

    assert state.lights_look(one.desk.shot).lines[0].place == "round 190 cm, at 1.50 m, 40° right, 30° up"
    one.desk.remember(units="imperial")
    assert state.lights_look(one.desk.shot).lines[0].place.startswith("round 75 in, at 4 ft 11 in")


def test_a_distance_says_what_it_is_measured_from_where_that_is_not_the_face(metered) -> None:
    """A background light a metre from its background, not from the face: in the row, on the terminal and on the sheet alike."""
    one = metered(1)
    key = one.id_of("KEY")
    state.set_role(one.desk, key, "background")
    one.desk.move_light(key, distance_m=1.0, azimuth_deg=-60.0)

    assert state.lights_look(one.desk.shot).lines[0].place == "small source, at 1.00 m from the background, 60° left"
    light = one.desk.shot.light(key)
    assert placed.place_text(light, placement(one)) == "small source, 1.00 m from the background, 60° left"
    assert [mark.point for mark in marks_of(one.desk.shot.view)] == ["background"], "the plan reads it out alike"
    with spoken_in("de"):
        assert placed.distance_text(placement(one), point=light.point) == "1,00 m ab Hintergrund"


def test_what_nobody_had_said_of_a_place_keeps_the_reading_and_a_move_does_not(metered) -> None:
    """The app asks for a distance because no new pop is needed: the answer is no move.  Undone, the reading counts still."""
    one = metered(1)
    key = one.id_of("KEY")
    one.pop(600.0)
    before = one.desk.shot.view.state(key)

    state.set_field(one.desk, key, "distance", "2m")
    state.set_field(one.desk, key, "azimuth", "40")
    placed = one.desk.shot.view.state(key)
    assert (placed.stale, placed.placement.distance_m, placed.placement.azimuth_deg) == (None, 2.0, 40.0)
    assert placed.reading.exposure_lxs == before.reading.exposure_lxs
    one.desk.put_back(before)
    undone = one.desk.shot.view.state(key)
    assert (undone.stale, undone.placement.distance_m, len(one.desk.shot.view.readings)) == (None, None, 1)

    state.set_field(one.desk, key, "distance", "2m")
    state.set_field(one.desk, key, "distance", "1.5m")
    assert one.desk.shot.view.state(key).stale is not None


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("elevation_deg", [35.0, -10.0])
def test_a_height_is_said_with_the_words_of_the_lists(language: str, elevation_deg: float) -> None:
    """The stepper said *hoch* and *tief* where every list says *oben* and *unten*."""
    with spoken_in(language):
        assert placed.direction_text(40.0, elevation_deg).endswith(f", {state.elevation_text(elevation_deg)}")
