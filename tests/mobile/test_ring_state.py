"""The ring view's arithmetic, against the coordinates of the design."""

from __future__ import annotations

from math import hypot

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlink.records import Placement
from meterlink.report import plan
from mobile import library_state
from mobile import ring_state as ring


@pytest.mark.parametrize(
    ("distance_m", "azimuth_deg", "elevation_deg", "x_m", "z_m"),
    [
        (1.0, 0.0, 0.0, 0.0, 1.0),  # toward the camera
        (1.0, 90.0, 0.0, 1.0, 0.0),  # camera right
        (2.0, -90.0, 0.0, -2.0, 0.0),
        (1.5, 180.0, 0.0, 0.0, -1.5),  # behind the subject
        (2.0, 0.0, 60.0, 0.0, 1.0),  # cos 60° is a half
        (2**0.5, 45.0, 0.0, 1.0, 1.0),
    ],
)
def test_directions_follow_the_design(
    distance_m: float, azimuth_deg: float, elevation_deg: float, x_m: float, z_m: float
) -> None:
    """x to camera right, z toward the camera, a raised light stands nearer on the plan."""
    assert ring.plan_xz(distance_m, azimuth_deg, elevation_deg) == pytest.approx((x_m, z_m), abs=1e-12)


@given(st.floats(0.1, 50), st.floats(-179.9, 179.9), st.floats(-79, 79))
def test_a_dragged_place_gives_back_its_distance_and_direction(
    distance_m: float, azimuth_deg: float, elevation_deg: float
) -> None:
    """From distance and azimuth to the plan and back is the same light, at any elevation that is not overhead."""
    again = ring.place_from_xz(*ring.plan_xz(distance_m, azimuth_deg, elevation_deg), elevation_deg)

    assert again == pytest.approx((distance_m, azimuth_deg), rel=1e-9, abs=1e-6)


def test_the_face_itself_has_no_direction() -> None:
    """A handle dragged onto the face is at distance 0, straight ahead, not an error."""
    assert ring.place_from_xz(0.0, 0.0) == (0.0, 0.0)


def test_a_source_is_drawn_to_scale_across_its_axis() -> None:
    """A disk of 90 cm in front of the camera is a line 90 cm long, square to the line to the face."""
    (ax, az), (bx, bz) = ring.outline_of(Placement("p", "l", 0.0, shape="disk", width_m=0.9), 0.0, 0.0, 1.2)

    assert hypot(ax - bx, az - bz) == pytest.approx(0.9)
    assert (az, bz) == pytest.approx((1.2, 1.2))


def test_a_feathered_source_is_drawn_turned() -> None:
    """Turned away by 90° the front lies along the line to the face."""
    (ax, _), (bx, _) = ring.outline_of(Placement("p", "l", 0.0, shape="disk", width_m=0.9, feather_deg=90.0), 0.0, 0.0, 1.2)

    assert ax == pytest.approx(0.0, abs=1e-12)
    assert bx == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("azimuth_deg", [-130.0, -50.0, 50.0, 130.0])
def test_a_feathered_front_is_turned_to_the_cameras_side_of_the_face(azimuth_deg: float) -> None:
    """On either side, turned by a positive angle, what the front looks at lies nearer to the camera than the face."""
    placement = Placement("p", "l", 0.0, shape="disk", width_m=0.9, feather_deg=30.0)
    x, z = ring.plan_xz(1.5, azimuth_deg)
    (ax, az), (bx, bz) = ring.outline_of(placement, azimuth_deg, x, z)
    looks = (az - bz, bx - ax)

    assert z - x * looks[1] / looks[0] > 0.2, "where the axis crosses the camera's"
    assert hypot(ax - bx, az - bz) == pytest.approx(0.9)


@pytest.mark.parametrize("reach_m", [0.5, 1.0, 1.2, 2.5, 4.9, 12.0, 40.0])
@pytest.mark.parametrize("imperial", [False, True])
def test_there_are_one_to_four_rings_inside_the_picture(reach_m: float, imperial: bool) -> None:
    """However far the lights stand, a few rings at round distances are seen."""
    rings = ring.rings_for(reach_m, imperial)

    assert 1 <= len(rings) <= 4
    assert all(0 < r <= reach_m for r in rings)


@pytest.mark.parametrize(
    ("reach_m", "imperial", "radii_m"),
    [
        (1.2, False, (0.25, 0.5, 0.75, 1.0)),
        (2.4, False, (0.5, 1.0, 1.5, 2.0)),
        (3.0, True, (2 * 0.3048, 4 * 0.3048, 6 * 0.3048, 8 * 0.3048)),  # whole feet: an inch is 25.4 mm
        (1000.0, False, (10.0, 20.0, 30.0, 40.0)),
    ],
)
def test_rings_stand_at_round_distances_of_the_unit_in_use(reach_m: float, imperial: bool, radii_m: tuple[float, ...]) -> None:
    """Quarter or half metres for a small set, even feet where feet are used; never more than four."""
    assert ring.rings_for(reach_m, imperial) == pytest.approx(radii_m)


def test_every_light_is_whole_inside_the_picture() -> None:
    """The far end of a wide source counts, in the smaller direction of the screen, with a margin; a small set shows a metre."""
    wide = ring.outline_of(Placement("p", "l", 0.0, shape="rectangle", width_m=3.0), 0.0, 0.0, 2.0)
    mark = ring.RingMark("a", "a", "key", 0.0, 2.0, wide, 2.0, 0.0, True)
    reach_m = ring.reach_of([mark])
    scale = ring.scale_for(10.0, 20.0, 300.0, 200.0, reach_m)

    assert reach_m == pytest.approx(2.5 * ring.MARGIN)
    assert ring.MARGIN > 1.1
    assert ring.reach_of([]) == pytest.approx(ring.MARGIN)
    assert hypot(scale.to_px(*wide[0])[0] - 160.0, scale.to_px(*wide[0])[1] - 120.0) == pytest.approx(100.0 / ring.MARGIN)


@given(st.floats(-3, 3), st.floats(-3, 3))
def test_pixels_and_metres_are_inverse(x_m: float, z_m: float) -> None:
    """A place on the plan is found again from its pixels; the camera's side is down, right is right."""
    scale = ring.scale_for(10.0, 20.0, 300.0, 200.0, 4.0)

    assert scale.to_m(*scale.to_px(x_m, z_m)) == pytest.approx((x_m, z_m), abs=1e-9)
    assert scale.to_px(0.0, 1.0)[1] < scale.to_px(0.0, 0.0)[1]
    assert scale.to_px(1.0, 0.0)[0] > scale.to_px(0.0, 0.0)[0]


def test_the_nearest_handle_under_the_finger_is_taken_and_none_beside() -> None:
    """Two lights near each other: the nearer one; a touch far from both: none."""
    scale = ring.scale_for(0, 0, 400, 400, 2.0)
    marks = [
        ring.RingMark(name, name, "key", x, 1.0, (), 1.0, 0.0, True) for name, x in (("a", 0.0), ("b", 0.3))
    ]  # fmt: skip
    x, y = scale.to_px(0.2, 1.0)

    assert ring.nearest_mark(marks, scale, x, y, 24) == "b"
    assert ring.nearest_mark(marks, scale, 10, 390, 24) is None


def test_a_light_without_a_place_is_drawn_where_its_role_usually_stands(metered) -> None:
    """Nothing is left out of the plan; what is only assumed is marked as such."""
    one = metered(4)
    one.desk.move_light(one.id_of("FILL"), distance_m=1.7, azimuth_deg=-42.0)

    marks = {m.name: m for m in ring.marks_of(one.desk.shot.view)}

    assert [m.placed for m in marks.values()] == [False, True, False, False]
    assert marks["KEY"].x_m > 0 > marks["FILL"].x_m
    assert marks["BACKGROUND"].z_m < 0


def test_lights_of_one_role_without_a_place_do_not_hide_each_other(metered) -> None:
    """Two hair lights of which nothing is known stand beside each other, as far apart as a finger can tell."""
    one = metered(1)
    for name in ("LEFT", "RIGHT"):
        one.desk.add_light(name, "hair")

    _, left, right = ring.marks_of(one.desk.shot.view)

    assert hypot(left.x_m - right.x_m, left.z_m - right.z_m) > 0.4


def test_a_reflector_shows_its_source(metered) -> None:
    """The mark of a reflector knows where the light that feeds it stands."""
    one = metered(1)
    one.desk.move_light(one.id_of("KEY"), distance_m=1.0, azimuth_deg=90.0)
    one.desk.add_light("CARD", "fill", source_id=one.id_of("KEY"), distance_m=0.7, azimuth_deg=-80.0)

    card = ring.marks_of(one.desk.shot.view)[1]

    assert card.reflector
    assert card.source_xz == pytest.approx((1.0, 0.0), abs=1e-12)


def test_a_background_light_stands_in_front_of_the_backdrop_and_lights_it(metered) -> None:
    """Said as 150° left behind the subject, 1.3 m from the backdrop 2.5 m behind: as the sheet draws it, and its point is there."""
    one = metered(4)
    one.desk.revise_setup(details={"backdrop_distance_m": 2.5})
    one.desk.move_light(one.id_of("BACKGROUND"), distance_m=1.3, azimuth_deg=-150.0, elevation_deg=10.0)
    view = one.desk.shot.view

    mark = ring.marks_of(view)[3]

    x, _y, z = next(one.at_m for one in plan.lights_drawn(view)[0] if one.light.name == "BACKGROUND")
    assert (mark.x_m, mark.z_m) == pytest.approx((x, z))
    assert (mark.point_z_m, mark.x_m < 0, -2.5 < mark.z_m < 0) == (-2.5, True, True)
    (dot,) = library_state.plan_dots(one.desk.library, view.setup)
    assert (dot.x / -dot.y, dot.y > 0) == (pytest.approx(x / z), True), "the library's stamp has it elsewhere"
    assert ring.reach_of([mark]) > 2.5


@given(st.floats(0.2, 5), st.floats(-179, 179), st.sampled_from([0.0, -2.0]))
def test_a_dragged_background_light_is_said_as_it_was(distance_m: float, azimuth_deg: float, point_z_m: float) -> None:
    """Picked up and let go at the same place, a light keeps distance and direction, also where it lights the backdrop."""
    drawn = ring.azimuth_in_plan_deg(azimuth_deg, "background" if point_z_m else "key")
    x, z = ring.plan_xz(distance_m, drawn)
    mark = ring.RingMark("a", "a", "", x, z + point_z_m, (), distance_m, azimuth_deg, True,
                         point_z_m=point_z_m, mirrored=drawn != azimuth_deg)  # fmt: skip

    again = ring.place_of(mark, mark.x_m, mark.z_m)

    assert again[0] == pytest.approx(distance_m)
    assert (again[1] - azimuth_deg + 180) % 360 - 180 == pytest.approx(0, abs=1e-6)
