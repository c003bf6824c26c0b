"""A camera and a grey card as the reference: levels, apertures, frames, and what the result is right for."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from benchmarks.bench_calibration_coverage import WORLDS, coverage
from benchmarks.calibration_walks import Photographer
from benchmarks.calibration_world import SimulatedSensor, draw
from meterlink.calibration import camera
from meterlink.calibration.chosen import in_use
from meterlink.calibration.procedure import TYPED, Task
from meterlink.calibration.scale_walk import ScaleWalk
from meterlink.cli.tasks import reference_value
from meterlink.errors import UnitError, UsageError
from meterlink.metering.calibrating import _how
from meterlink.photometry import card, exposure
from meterlink.report.acceptance import claim_lines
from meterlink.report.picture import card_level

FLASH = Task("ref-flash-0-0", "", "", TYPED)
STEADY = Task("ref-steady-0", "", "", TYPED)


def test_grey_comes_out_at_118() -> None:
    """18 % of white is level 118 of 255 in sRGB: ISO 12232's standard output level (from memory) and IEC 61966-2-1."""
    assert card.level(0.18) == pytest.approx(117.6, abs=0.1)
    assert round(card.level(0.18)) == 118


@pytest.mark.parametrize("code", [0, 3, 10, 11, 60, 118, 200, 255])
def test_levels_are_those_of_the_standard(code: int) -> None:
    """colour-science as the oracle for IEC 61966-2-1, both ways."""
    colour = pytest.importorskip("colour")
    assert card.linear(code) == pytest.approx(float(colour.models.eotf_sRGB(code / 255)), abs=1e-9)
    assert card.level(card.linear(code)) == pytest.approx(code, abs=0.02)


@pytest.mark.parametrize("stops", [-0.6, -0.3, 0.0, 0.25, 0.5])
def test_a_frame_off_its_level_tells_the_right_aperture(stops: float) -> None:
    """A frame so much too bright would have been right at an f-number higher by 2 to half of its stops."""
    code = card.level(0.18 * 2.0**stops)

    assert card.stops_over(code) == pytest.approx(stops, abs=1e-9)
    assert card.right_aperture(8.0, code) == pytest.approx(8.0 * 2 ** (stops / 2))


def test_a_frame_far_off_and_a_white_card_are_refused() -> None:
    """Beyond two thirds of a stop, black, or on the shoulder: refused with what to do."""
    for code in (0.0, 60.0, 200.0):
        with pytest.raises(ValueError, match="another aperture"):
            card.stops_over(code)
    with pytest.raises(ValueError, match="white"):
        card.stops_over(243, 0.9)
    with pytest.raises(ValueError, match="0 to 255"):
        card.linear(300)


def frame(path: Path, code: int, **odd: int) -> Path:
    """A picture whose middle is a card of that level, on a black background; ``odd`` colours a corner of the middle."""
    pixels = np.zeros((300, 450, 3), dtype=np.uint8)
    pixels[90:210, 135:315] = code
    if odd:
        pixels[90:150, 135:230] = odd["corner"]
    Image.fromarray(pixels).save(path, quality=95)
    return path


def test_a_level_is_read_from_a_frame(tmp_path: Path) -> None:
    """JPEG and PNG: within one of the level that was painted."""
    for name, code in (("a.jpg", 118), ("b.png", 97), ("c.jpg", 140)):
        assert card_level(frame(tmp_path / name, code)) == pytest.approx(code, abs=1.0)


def test_frames_that_say_nothing_are_refused(tmp_path: Path) -> None:
    """Clipped, half of it something else, no picture, not there: one line each."""
    (tmp_path / "text.jpg").write_bytes(b"hello")
    for path in (frame(tmp_path / "w.png", 255), frame(tmp_path / "h.png", 118, corner=60)):
        with pytest.raises(UsageError, match="even grey"):
            card_level(path)
    for path in (tmp_path / "text.jpg", tmp_path / "none.jpg", tmp_path):
        with pytest.raises(UsageError, match="cannot be read"):
            card_level(path)


def test_what_is_typed_of_a_frame_becomes_light(tmp_path: Path) -> None:
    """An aperture, an aperture with a level, an aperture with a frame: N² = H·S/C, so that the sensor will show that aperture."""
    value = reference_value(330.0, 100.0, 1 / 128, card=0.18)
    darker = card.level(0.18 / 2**0.5)

    assert value("f/8", FLASH) == pytest.approx(64 * 3.3)
    assert value("f/8", STEADY) == pytest.approx(64 * 3.3 * 128)
    assert value("f/8 +0.3", FLASH) == pytest.approx(64 * 3.3 * 2**0.3)
    assert value("f/8 +0.3 118", FLASH) == pytest.approx(64 * 3.3 * 2**0.3, rel=0.01)
    assert value(f"f/8 {darker:.3f}", FLASH) == pytest.approx(64 * 3.3 / 2**0.5, rel=1e-3)
    read = value(f"f/8 {frame(tmp_path / 'x y-1.png', 118)}", FLASH)
    assert exposure.f_number(read, 100.0, 330.0) == pytest.approx(8.0, rel=0.01)
    with pytest.raises(UsageError, match="another aperture"):
        value("f/8 20", FLASH)
    with pytest.raises(UnitError):
        value("bright", FLASH)


def test_a_cameras_calibration_is_right_for_this_camera_and_says_so() -> None:
    """12 sensors, a camera that shows levels to 0.07 stop: claimed readings are within 0.1 stop of what this camera would show, k=2
    intervals cover, and words say for whom it is right and what another camera may cost."""
    trial = coverage(12, 31, WORLDS[4])
    found = [c for one in trial.sensors for c in one]
    claimed = [c for c in found if c.claimed]

    assert trial.refused == 0
    assert {c["against"] for c in trial.claims} == {"camera"}
    assert np.mean([abs(c.error_stops) <= 2 * c.u_stops for c in found]) >= 0.88
    assert len(claimed) > 0.5 * len(found)
    assert max(abs(c.error_stops - c.reference_stops) for c in claimed) <= 0.1
    lines = claim_lines(trial.claims[0], ("bright", "dim"), 330.0)
    assert lines[0].startswith("right for this camera")
    assert any("another camera or lens f-numbers may be 0.4 stop off" in line for line in lines)


def test_the_budget_holds_card_lens_speed_and_framing() -> None:
    """Card and framing count, and for another camera its lens and its maker's reading of ISO 12232."""
    assert pytest.approx(math.hypot(0.05, 0.05, 0.12, 0.15), rel=1e-3) == camera.U_SCALE_REL * 1.4427


def test_in_use_names_the_camera() -> None:
    """``sensors`` and ``meter`` say what the f-numbers are right for."""
    from meterlink.records import Calibration, RangeScale

    made = Calibration("c" * 16, "s", 0.0, 330.0, ranges=(RangeScale(2e6),), u_scale_rel=camera.U_SCALE_REL, method="camera",
                       reference="my camera, 50 mm")  # fmt: skip

    assert str(in_use(made)).endswith('right for "my camera, 50 mm", f-numbers ± 0.4 stop with another camera')


def test_a_walk_with_a_camera_states_a_frames_own_uncertainty() -> None:
    """It is what the walk itself asks for more levels by."""
    from benchmarks.calibration_world import Build, SimulatedSensor

    sensor = SimulatedSensor(Build((1, 1), (0.02, 0.02), (0, 0), 0.001, (0, 0)), np.random.default_rng(1))
    walk = ScaleWalk(sensor.identity, sensor.calibration, with_camera=True)

    assert walk.u_reading_rel == pytest.approx(0.049, abs=0.001)


def test_a_walk_with_a_camera_speaks_of_card_and_frame_and_never_of_a_meter() -> None:
    """Each step that wants the camera says where the card stands and how a frame is typed; with a meter nothing of that is said."""
    rng = np.random.default_rng(3)
    build, reference = draw(rng)
    said = {}
    for with_camera in (False, True):
        sensor = SimulatedSensor(build, np.random.default_rng(4))
        walk = ScaleWalk(sensor.identity, sensor.calibration, with_camera=with_camera)
        Photographer(sensor, np.random.default_rng(4), reference).walk(walk)
        typed = [t for t in walk.tasks if t.kind == TYPED]
        said[with_camera] = " ".join([str(t.text) for t in walk.tasks] + [str(_how(t)) for t in typed])
        assert typed
        assert {t.camera for t in typed} == {with_camera}

    assert "grey card in the dome's very place" in said[True]
    assert "f/8 frame.jpg" in said[True]
    assert "meter changes hands" not in said[True]
    assert "what it reads" not in said[True]
    assert "card" not in said[False]
    assert "meter changes hands" in said[False]
