"""The ratio table: numbers only where they can be trusted, each with what to do."""

from __future__ import annotations

from math import hypot, log, log2, sqrt

import pytest

from meterlink.judging.judge import judge_set
from meterlink.records import Calibration, Light, Placement, Reading, Settings, Setup, new_id
from meterlink.tables.ratios import RatioTable, ratio_table


class Set:
    """A set under construction: lights, readings and calibrations by name."""

    def __init__(self, **setup: object) -> None:
        self.setup = Setup(new_id(), "S", 0.0, **{"shutter_s": 1 / 128, **setup})
        self.calibrations = {"a": Calibration("a", "s", 0.0, 330.0, u_scale_rel=0.05)}
        self.lights: list[Light] = []
        self.placements: dict[str, Placement] = {}
        self.readings: list[Reading] = []

    def add(self, name: str, role: str, value: float | None, **reading: object) -> Set:
        """Add a light with its reading (None: not metered)."""
        light = Light(new_id(), self.setup.id, name, role, order=len(self.lights))
        direction, width = reading.pop("azimuth_deg", 0.0), reading.pop("width_m", 0.9)
        placement = Placement(new_id(), light.id, 0.0, "disk", width, None, 1.0, 0.01, direction, 0.0)
        self.lights.append(light)
        self.placements[light.id] = placement
        if value is not None:
            fields = {"exposure_lxs": value, "calibration_id": "a", "sensor_id": "s", "held_off_m": 0.0, **reading}
            record = Reading(
                new_id(), self.setup.id, light.id, placement.id, taken_at_s=0.0, u_held_off_m=0.005, **fields
            )
            self.readings.append(record)
        return self

    def table(self) -> RatioTable:
        """The ratio table of the set."""
        view = judge_set(self.setup, self.lights, self.placements, self.readings, self.calibrations, Settings())
        return ratio_table(view)


def test_without_a_key_there_are_readings_but_no_ratios() -> None:
    """A set with no key shows f-numbers and says how to name the key."""
    table = Set().add("FILL", "fill", 100.0).table()

    assert table.rows[0].corrected_f is not None
    assert table.rows[0].from_key_stops is None
    assert "--role key" in str(table.notes[0])


def test_the_shared_scale_cancels_in_ratios_of_one_calibration() -> None:
    """A scale uncertainty of 20 % moves the f-number's interval, not the ratio's."""
    narrow = Set().add("KEY", "key", 200.0).add("FILL", "fill", 50.0).table()
    wide = Set().add("KEY", "key", 200.0).add("FILL", "fill", 50.0)
    wide.calibrations["a"] = wide.calibrations["a"]._replace(u_scale_rel=0.2)

    assert wide.table().rows[1].from_key_u95_stops == narrow.rows[1].from_key_u95_stops
    assert wide.table().aperture_key.u95_stops > narrow.aperture_key.u95_stops


def test_two_calibrations_of_one_sensor_do_not_cancel() -> None:
    """Readings before and after a recalibration are compared with the scales' own uncertainty."""
    same = Set().add("KEY", "key", 200.0).add("FILL", "fill", 50.0)
    other = Set().add("KEY", "key", 200.0).add("FILL", "fill", 50.0, calibration_id="b")
    other.calibrations["b"] = other.calibrations["a"]._replace(id="b")

    assert other.table().rows[1].from_key_u95_stops > same.table().rows[1].from_key_u95_stops + 0.1


def test_a_ratio_never_mixes_receptors() -> None:
    """A flat reading is not set against a dome reading; the row says why."""
    table = Set().add("KEY", "key", 200.0).add("FILL", "fill", 50.0, receptor="flat").table()

    assert table.rows[1].from_key_stops is None
    assert "flat receptor" in table.rows[1].reason


def test_another_sensor_than_the_keys_is_not_mixed() -> None:
    """Two sensors are not compared in silence."""
    table = Set().add("KEY", "key", 200.0).add("FILL", "fill", 50.0, sensor_id="t").table()

    assert table.rows[1].from_key_stops is None
    assert "another sensor" in table.rows[1].reason


def test_shares_are_what_a_camera_facing_dome_sees() -> None:
    """Two equal lights, one on the camera axis and one at 90 degrees: the dome sees the side one at half."""
    small = {"width_m": 0.01}
    table = Set().add("KEY", "key", 100.0, **small).add("FILL", "fill", 100.0, azimuth_deg=90.0, **small).table()

    assert [row.share for row in table.rows] == pytest.approx([2 / 3, 1 / 3], abs=1e-4)


def test_a_reading_aimed_at_the_camera_is_carried_to_the_keys_aim() -> None:
    """A fill at 90 degrees that a camera-facing dome read at half is one stop more when aimed at like the key."""
    fill = {"azimuth_deg": 90.0, "width_m": 0.01, "aim": "camera"}
    row = Set().add("KEY", "key", 100.0).add("FILL", "fill", 50.0, **fill).table().rows[1]

    assert row.from_key_stops == pytest.approx(0.0, abs=1e-3)
    assert row.from_key_u95_stops > 0.15


def test_mixed_aims_without_a_direction_are_not_compared() -> None:
    """Without a direction a reading aimed at the camera cannot be set against a key that was aimed at."""
    row = Set().add("KEY", "key", 100.0).add("FILL", "fill", 50.0, azimuth_deg=None, aim="camera").table().rows[1]

    assert row.from_key_stops is None
    assert "aimed at the camera" in row.reason


def test_hair_rim_and_background_have_a_ratio_and_no_share() -> None:
    """Lights at their own points do not light the face: the key's share stays whole."""
    table = Set().add("KEY", "key", 100.0).add("HAIR", "hair", 50.0).add("BACK", "background", 25.0).table()

    assert [row.share for row in table.rows] == [pytest.approx(1.0), None, None]
    assert [row.from_key_stops for row in table.rows[1:]] == pytest.approx([-1.0, -2.0])


def test_no_share_without_a_direction() -> None:
    """Where the direction of a face light is not given no share is made up, and the note says which."""
    table = Set().add("KEY", "key", 100.0).add("FILL", "fill", 100.0, azimuth_deg=None).table()

    assert [row.share for row in table.rows] == [None, None]
    assert "FILL" in str(table.notes[0])


def test_camera_offset_and_filter_move_the_aperture_and_nothing_else() -> None:
    """An offset of +1 closes down one stop, a filter of 2 stops opens two; the lights' own f-numbers stay."""
    plain = Set().add("KEY", "key", 200.0).table()
    set_up = Set(camera_offset_stops=1.0, filter_stops=2.0).add("KEY", "key", 200.0).table()

    moved = 2 * log2(set_up.aperture_key.f / plain.aperture_key.f)
    assert moved == pytest.approx(-1.0)
    assert set_up.rows[0].corrected_f == plain.rows[0].corrected_f


def test_the_aperture_is_the_nearest_third_and_what_is_left_over() -> None:
    """f/8 and 0.1 stop is set as f/8 with 0.1 left over."""
    table = Set().add("KEY", "key", 64 * 3.3 * 2**0.1).table()

    assert table.aperture_key.nominal == "f/8"
    assert table.aperture_key.left_over_stops == pytest.approx(0.1, abs=0.02)


def test_a_relative_calibration_gives_ratios_and_no_aperture() -> None:
    """Without a reference the f-number is not known, the ratios are."""
    one = Set().add("KEY", "key", 200.0).add("FILL", "fill", 50.0)
    one.calibrations["a"] = one.calibrations["a"]._replace(relative=True)

    table = one.table()

    assert table.aperture_key is None
    assert table.rows[1].from_key_stops == pytest.approx(-2.0)


def test_steady_light_is_compared_with_flash_over_the_shutter() -> None:
    """A lamp of E lx gives E times the shutter time."""
    lamp = {"kind": "steady", "exposure_lxs": None, "illuminance_lx": 6400.0}
    table = Set().add("KEY", "key", 100.0).add("LAMP", "other", 0.0, **lamp).table()

    assert table.rows[1].from_key_stops == pytest.approx(log2(6400 / 128 / 100))


def test_steady_against_flash_without_a_shutter_is_refused() -> None:
    """Without a shutter time steady light has no exposure to compare."""
    lamp = {"kind": "steady", "exposure_lxs": None, "illuminance_lx": 6400.0}
    table = Set(shutter_s=None).add("KEY", "key", 100.0).add("LAMP", "other", 0.0, **lamp).table()

    assert table.rows[1].from_key_stops is None
    assert "--shutter" in table.rows[1].reason


def test_an_unmetered_light_has_no_number_and_says_what_to_do() -> None:
    """A light without a reading shows nothing but the command that meters it."""
    row = Set().add("KEY", "key", None).table().rows[0]

    assert (row.as_read_f, row.corrected_f, row.verdict) == (None, None, None)
    assert "meterlink meter KEY" in row.reason


@pytest.mark.parametrize("second", [{"value": None}, {"value": 20.0, "receptor": "flat"}], ids=["not read", "other receptor"])
def test_one_of_two_fills_is_not_the_fill(second: dict[str, object]) -> None:
    """A fill without a figure beside one with: no lighting ratio and no aperture from key and fill, and why."""
    table = Set().add("KEY", "key", 200.0).add("FILL", "fill", 50.0).add("LOW", "fill", **second).table()

    assert (table.key_to_fill, table.key_and_fill_to_fill, table.aperture_key_and_fill) == (None, None, None)
    assert "no lighting ratio until every fill can be compared with the key: LOW" in map(str, table.notes)
    assert table.lighting_ratio_words == ("", "")
    assert [row.share for row in table.rows] == [None, None, None]


def test_two_fills_are_one_fill_of_their_sum() -> None:
    """Light adds: 40 and 40 under a key of 160 are 2:1, (160 + 80) to 80 is 3:1, and the aperture of both is for 240."""
    one = Set().add("KEY", "key", 160.0).add("FILL", "fill", 40.0).add("LOW", "fill", 40.0).table()
    both = Set().add("KEY", "key", 240.0).table()

    assert one.key_to_fill == pytest.approx(2.0)
    assert one.key_and_fill_to_fill == pytest.approx(3.0)
    assert one.aperture_key_and_fill is not None
    assert both.aperture_key is not None
    assert one.aperture_key_and_fill.f == pytest.approx(both.aperture_key.f)


def test_what_is_shown_is_twice_the_standard_uncertainty() -> None:
    """k=2 (GUM, JCGM 100:2008, 6.3.3): of a row, and of the aperture with the calibration's scale of 5 % beside it."""
    made = Set().add("KEY", "key", 160.0)
    judged = judge_set(made.setup, made.lights, made.placements, made.readings, made.calibrations, Settings()).lights[0].judged
    table = made.table()

    assert judged is not None
    assert table.rows[0].u95_stops == pytest.approx(2 * judged.u_stops)
    assert table.aperture_key is not None
    assert table.aperture_key.u95_stops == pytest.approx(2 * hypot(judged.u_stops, 0.05 / log(2)))


def test_as_read_is_what_the_dome_saw() -> None:
    """20 cm off, half a stop hot: the f-number as read is plain N² = H·S/C, above the one at the point by the correction."""
    row = Set().add("KEY", "key", 160.0, held_off_m=0.2).table().rows[0]

    assert row.as_read_f == pytest.approx(sqrt(160.0 * 100.0 / 330.0))
    assert row.correction_stops is not None
    assert row.correction_stops < -0.3
    assert row.corrected_f is not None
    assert 2 * log2(row.corrected_f / row.as_read_f) == pytest.approx(row.correction_stops)
