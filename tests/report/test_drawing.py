"""Plan, side view, labels and the small picture."""

from __future__ import annotations

import base64
import io
import re
import xml.etree.ElementTree as ET
from math import hypot
from pathlib import Path

import pytest
from PIL import Image

from meterlink.errors import UsageError
from meterlink.metering.session import Session
from meterlink.report.axes import Box
from meterlink.report.drawing import Drawing
from meterlink.report.labels import Labels, Line, short
from meterlink.report.picture import SIDE_PX, TEXT_MAX, safe_picture, small_picture
from meterlink.report.plan import ASSUMED_BACKDROP_M, lights_drawn, plan, side
from meterlink.words.language import Place, use
from meterlink.words.placed import direction_text
from meterlink.words.told import put

SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("name", ["five", "twelve", "hostile"])
def test_views_are_proper_svg_and_png(name: str, request: pytest.FixtureRequest) -> None:
    """An XML parser reads them, an image library too, and nothing but shapes and texts is in them."""
    view = request.getfixturevalue(name).view()
    for drawing in (plan(view), side(view)):
        tags = {one.tag.removeprefix(SVG) for one in ET.fromstring(drawing.svg()).iter()}
        assert tags <= {"svg", "title", "circle", "polyline", "polygon", "text"}
        with Image.open(io.BytesIO(drawing.png())) as image:
            assert image.size == (drawing.width * 2, drawing.height * 2)


def test_the_plan_is_to_scale(five: Session) -> None:
    """Distances between the lights' bars on the plan are those of the set, by one scale (rings tell which)."""
    view = five.view()
    root = ET.fromstring(plan(view).svg())
    rings = sorted({float(c.get("r", "0")) for c in root.iter(f"{SVG}circle") if c.get("stroke") == "#dedede"})
    steps = [float(t.text.split()[0]) for t in root.iter(f"{SVG}text") if re.fullmatch(r"[\d.]+ m", t.text or "")]
    scale = rings[0] / min(steps)
    # The bold bars are the emitting surfaces.
    bars = [
        [tuple(map(float, pair.split(","))) for pair in line.get("points", "").split()]
        for line in root.iter(f"{SVG}polyline")
        if line.get("stroke-width") == "2.6"
    ]
    centres = [((a[0] + b[0]) / 2, (a[1] + b[1]) / 2) for a, b in bars]
    places = [one.at_m for one in lights_drawn(view)[0]]
    for i in range(len(places)):
        for j in range(i):
            drawn = hypot(centres[i][0] - centres[j][0], centres[i][1] - centres[j][1])
            assert drawn == pytest.approx(scale * hypot(places[i][0] - places[j][0], places[i][2] - places[j][2]), abs=0.3)
    widths = [hypot(b[0] - a[0], b[1] - a[1]) for a, b in bars]
    for width, state in zip(widths, view.lights, strict=True):
        assert state.placement is not None
        assert width == pytest.approx(scale * (state.placement.width_m or 0.0), abs=0.3)


def bars_of(drawing: Drawing) -> list[list[tuple[float, ...]]]:
    """The bold bars of a picture: the emitting surfaces."""
    lines = [line for line in ET.fromstring(drawing.svg()).iter(f"{SVG}polyline") if line.get("stroke-width") == "2.6"]
    return [[tuple(map(float, pair.split(","))) for pair in line.get("points", "").split()] for line in lines]


@pytest.mark.parametrize("name", ["five", "twelve"])
def test_every_light_is_whole_inside_both_views(name: str, request: pytest.FixtureRequest) -> None:
    """However a set is shaped, no end of a bar lies outside the picture."""
    view = request.getfixturevalue(name).view()
    for drawing in (plan(view), side(view)):
        ends = [end for bar in bars_of(drawing) for end in bar]
        assert ends
        assert all(0.0 <= x <= drawing.width and 0.0 <= y <= drawing.height for x, y in ends)


def test_heights_are_to_the_scale_of_the_side_view(five: Session) -> None:
    """The bars of the lights are as high as the sources, by the scale that their distances from each other give."""
    view = five.view()
    bars = bars_of(side(view))
    centres = [((a[0] + b[0]) / 2, (a[1] + b[1]) / 2) for a, b in bars]
    places = [one.at_m for one in lights_drawn(view)[0]]
    scale = hypot(centres[0][0] - centres[1][0], centres[0][1] - centres[1][1]) / hypot(
        places[0][2] - places[1][2], places[0][1] - places[1][1]
    )
    for (a, b), state in zip(bars, view.lights, strict=True):
        p = state.placement
        assert p is not None
        assert hypot(b[0] - a[0], b[1] - a[1]) == pytest.approx(max(scale * (p.height_m or p.width_m or 0.08), 8.0), abs=0.3)


def test_directions_are_those_of_the_design(five: Session) -> None:
    """x to camera right, y up, z toward the camera: 90 degrees is to the right, 180 behind, + up."""
    state = five.view().lights[0]
    assert state.placement is not None

    def at(azimuth: float, elevation: float) -> tuple[float, float, float]:
        turned = state._replace(placement=state.placement._replace(azimuth_deg=azimuth, elevation_deg=elevation, distance_m=2.0))
        return lights_drawn(five.view()._replace(lights=(turned,)))[0][0].at_m

    assert at(0, 0) == pytest.approx((0, 0, 2))
    assert at(90, 0) == pytest.approx((2, 0, 0), abs=1e-9)
    assert at(180, 0) == pytest.approx((0, 0, -2), abs=1e-9)
    assert at(0, 90) == pytest.approx((0, 2, 0), abs=1e-9)


def test_who_lights_the_background_stands_in_front_of_it(five: Session) -> None:
    """Said to be behind the subject, it still lights the backdrop from the camera's side, however the backdrop's place is known."""
    view = five.view()
    state = view.lights[0]
    assert state.placement is not None
    behind = state._replace(
        light=state.light._replace(role="background", point="background"),
        placement=state.placement._replace(azimuth_deg=160.0, elevation_deg=0.0, distance_m=1.0),
    )
    for details in ({"backdrop_distance_m": 1.6}, {}):
        seen = view._replace(setup=view.setup._replace(details=details), lights=(behind,))
        backdrop = -details.get("backdrop_distance_m", ASSUMED_BACKDROP_M)
        x, _, z = lights_drawn(seen)[0][0].at_m
        assert backdrop < z < 0.0
        assert x > 0.0
    assert "backdrop, distance not given" in plan(seen).svg()


@pytest.mark.parametrize("azimuth_deg", [-60.0, 60.0])
def test_a_feathered_front_is_drawn_as_it_is_corrected_for(five: Session, azimuth_deg: float) -> None:
    """Turned by 30 degrees, the axis passes the face on the camera's side, from the left and from the right."""
    view = five.view()
    state = view.lights[0]
    assert state.placement is not None
    turned = state._replace(placement=state.placement._replace(azimuth_deg=azimuth_deg, elevation_deg=0.0, feather_deg=30.0))
    (((ax, ay), (bx, by)),) = bars_of(plan(view._replace(lights=(turned,))))

    # 60 degrees off the camera's axis and turned by 30, the front stands along that axis: downward in the picture.
    assert ax == pytest.approx(bx, abs=0.1)
    assert abs(ay - by) > 20


def covered(a: Box, b: Box) -> float:
    """Area that both cover."""
    return max(0.0, min(a.right, b.right) - max(a.left, b.left)) * max(0.0, min(a.bottom, b.bottom) - max(a.top, b.top))


def boxes(drawing: Drawing, least_size: float = 6.5) -> list[Box]:
    """Where the letters of a drawing stand, the small figures of its rings only with ``least_size`` 0."""
    out = []
    for shape in drawing.shapes:
        if shape.kind == "text" and shape.size > least_size:
            (x, y), width = shape.points[0], len(shape.text) * shape.size * 0.6
            left = x - {"start": 0.0, "middle": width / 2, "end": width}[shape.anchor]
            out.append(Box(left, y - shape.size * 0.8, left + width, y + shape.size * 0.1))
    return out


@pytest.mark.parametrize("name", ["five", "twelve", "hostile"])
def test_names_on_the_plan_do_not_cover_each_other(name: str, request: pytest.FixtureRequest) -> None:
    """Every pair of texts is apart, and all stand inside the drawing."""
    drawing = plan(request.getfixturevalue(name).view())
    found = boxes(drawing)

    assert all(covered(a, b) < 2.0 for i, a in enumerate(found) for b in found[:i])
    assert all(b.left > -4 and b.right < drawing.width + 4 and b.top > 0 and b.bottom < drawing.height for b in found)


def test_names_on_the_plan_cover_no_figure_of_a_ring(five: Session) -> None:
    """A light toward the lower right, where the radii of the rings are written, has its name beside them."""
    view = five.view()
    places = ((1.2, 40.0, 30.0, 0.9), (1.5, -50.0, 10.0, 0.6), (1.3, 150.0, 50.0, 0.3), (1.6, -140.0, 20.0, 0.3))
    lights = []
    for state, (distance_m, azimuth_deg, elevation_deg, width_m) in zip(view.lights, places, strict=False):
        assert state.placement is not None
        placement = state.placement._replace(
            distance_m=distance_m, azimuth_deg=azimuth_deg, elevation_deg=elevation_deg, width_m=width_m, feather_deg=0.0
        )
        lights.append(state._replace(placement=placement, light=state.light._replace(role="key", point="face")))
    found = boxes(plan(view._replace(lights=tuple(lights), setup=view.setup._replace(details={}))), 0.0)

    assert all(covered(a, b) < 2.0 for i, a in enumerate(found) for b in found[:i])


def test_a_label_goes_where_there_is_room() -> None:
    """With its best place taken it stands elsewhere, on nothing that is taken."""
    drawing = Drawing(200, 200)
    labels = Labels(drawing)
    labels.keep_free([(110, 85), (190, 115)])
    labels.place((100, 100), [Line("NAME", 9, "#000")], 8, (1.0, 0.0))

    assert covered(boxes(drawing)[0], Box(110, 85, 190, 115)) == 0.0


def test_long_names_are_cut_on_a_drawing() -> None:
    """One line, at most 22 letters, with a sign that there is more."""
    assert short("a  b\nc") == "a b c"
    assert short("x" * 50) == "x" * 21 + "…"


@pytest.mark.parametrize("language", ["en", "de"])
def test_lights_that_are_not_drawn_are_named_below(five: Session, language: str) -> None:
    """Without a direction, and without a distance: each on the plan's foot, in the drawing's language; none where all stand."""
    use(language, Place.TERMINAL)
    assert not re.search("not drawn|nicht gezeichnet", plan(five.view()).svg())
    key, fill, hair, *_ = five.lights()
    for light in (key, hair):
        five.move(light, azimuth_deg=None)
    five.move(fill, distance_m=None)
    drawn = plan(five.view())

    foot = [one.text for one in drawn.shapes if one.kind == "text" and one.points[0][0] == 8.0]
    assert foot[::-1] == [
        put("not drawn, no distance given: {lights:,}", lights=(fill.name,)),
        put("not drawn, no direction given: {lights:,}", lights=(key.name, hair.name)),
    ]
    assert foot[0].startswith("not drawn" if language == "en" else "nicht gezeichnet")


def test_directions_are_said_as_in_the_lists(five: Session) -> None:
    """Left, right, up, down, as ``light list`` has it: nobody has to know which side is minus; straight behind has none."""
    key, fill, hair, *_ = five.lights()
    five.move(key, distance_m=1.3, azimuth_deg=-140.0, elevation_deg=10.0)
    five.move(fill, distance_m=0.8, azimuth_deg=220.0, elevation_deg=-15.0)
    five.move(hair, distance_m=1.1, azimuth_deg=180.0, elevation_deg=0.0)
    above, beside = ({one.text for one in drawn(five.view()).shapes if one.kind == "text"} for drawn in (plan, side))

    assert {"1.30 m, 140° left", "80 cm, 140° left", "1.10 m, behind"} <= above
    assert {"KEY 10° up", "FILL 15° down", "HAIR"} <= beside
    said = [direction_text(one.placement.azimuth_deg, one.placement.elevation_deg) for one in five.view().lights[:3]]
    assert said == ["140° left, 10° up", "140° left, 15° down", "behind"]


def test_nothing_placed_draws_the_face_and_the_camera(five: Session) -> None:
    """Lights without distance or direction are left out; the views still come."""
    view = five.view()
    bare = view._replace(lights=tuple(s._replace(placement=None) for s in view.lights))

    assert "camera" in plan(bare).svg()
    assert "camera" in side(bare).svg()


@pytest.mark.parametrize("size", [(4000, 3000), (30, 20), (100, 5000)])
def test_a_small_picture_is_small(tmp_path: Path, size: tuple[int, int]) -> None:
    """JPEG of at most 420 pixels on its longer side, within the length that a set-up's facts may have."""
    path = tmp_path / "photo.jpg"
    Image.effect_noise(size, 60).convert("RGB").save(path)
    text = small_picture(path)

    assert len(text) <= TEXT_MAX
    with Image.open(io.BytesIO(base64.b64decode(text.partition(",")[2]))) as image:
        assert image.format == "JPEG"
        assert max(image.size) <= max(SIDE_PX, 1)


def test_place_and_camera_of_a_photograph_stay_behind(tmp_path: Path) -> None:
    """What a file tells of where and with what it was taken is not in the copy; it is turned upright before."""
    path = tmp_path / "photo.jpg"
    image = Image.new("RGB", (80, 40), "red")
    exif = Image.Exif()
    exif[0x0112] = 6  # Orientation: turned by a quarter (Exif 2.3)
    exif[0x0110] = "a camera"
    image.save(path, exif=exif)
    data = base64.b64decode(small_picture(path).partition(",")[2])

    with Image.open(io.BytesIO(data)) as copy:
        assert copy.size == (40, 80)
        assert not copy.getexif()
    assert b"a camera" not in data


@pytest.mark.parametrize("content", [b"", b"not a picture", b"\xff\xd8\xff" + b"\0" * 50, b"<svg/>", b"GIF89a"])
def test_what_is_no_picture_is_refused_in_one_line(tmp_path: Path, content: bytes) -> None:
    """One line with what is accepted."""
    path = tmp_path / "photo.jpg"
    path.write_bytes(content)

    with pytest.raises(UsageError, match="JPEG"):
        small_picture(path)
    with pytest.raises(UsageError, match="no such picture"):
        small_picture(tmp_path / "missing.jpg")
    with pytest.raises(UsageError, match="picture"):
        small_picture(tmp_path / f"{'a' * 300}.jpg")  # a name longer than the system has any


BAD = [
    None, 7, "", "data:image/png;base64,AAAA", "data:image/jpeg;base64,AAAA", "data:image/jpeg;base64,\" onerror=\"x",
    "data:image/svg+xml,<svg onload=alert(1)>", "http://example.org/x.jpg", "data:image/jpeg;base64," + "A" * TEXT_MAX,
]  # fmt: skip


@pytest.mark.parametrize("value", BAD)
def test_pictures_from_outside_are_never_believed(value: object) -> None:
    """Only a JPEG that decodes comes on a page, and that written anew."""
    assert safe_picture(value) == ""


def test_a_light_far_beyond_any_studio_costs_no_more_rings(five: Session) -> None:
    """A distance that came into a library before there were limits is drawn with six rings at most, not with a million."""
    view = five.view()
    states = [
        s._replace(placement=s.placement._replace(distance_m=1e6)) if s.placement is not None else s for s in view.lights[:1]
    ] + list(view.lights[1:])

    assert plan(view._replace(lights=tuple(states))).svg().count("<circle") < 40
