"""The walks of calibrate: simulated sensors in, calibrations out, refusals in words."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from benchmarks.calibration_walks import Photographer
from benchmarks.calibration_world import FULL_SCALE_LX, Build, Reference, SimulatedSensor
from meterlink.calibration.calibrate import AngleWalk
from meterlink.calibration.guide_walk import GuideWalk
from meterlink.calibration.procedure import TYPED, Procedure, Taken, Task
from meterlink.calibration.scale_walk import ScaleWalk
from meterlink.calibration.steps import step_stops
from meterlink.errors import CalibrationError, UsageError
from meterlink.records import Calibration, Identity, Measurement
from meterlink.words.language import use

SOUND = Build(
    gain=(0.9, 0.93), dark=(0.0195, 0.0205), bend=(0.01, 0.0), noise=0.0015, side=(-0.1, 0.02),
)  # fmt: skip


@pytest.fixture
def sensor() -> SimulatedSensor:
    """A sound sensor, 10 % less sensitive than its design, its ranges 3 % off each other."""
    return SimulatedSensor(SOUND, np.random.default_rng(5))


def photographer(sensor: SimulatedSensor, scale_error: float = 0.0) -> Photographer:
    """Someone who does what the walk asks, with a reference that shows tenths."""
    return Photographer(sensor, sensor.rng, Reference(scale_error))


def test_calibrate_finds_gain_dark_and_both_ranges(sensor: SimulatedSensor) -> None:
    """The scale of both ranges is found within 3 % and their ratio within what is stated; dark to half a code."""
    walk = ScaleWalk(sensor.identity, sensor.calibration)

    photographer(sensor).walk(walk)
    made = walk.result(reference="lab", u_reference_rel=0.02, u_reference_reading_rel=0.022, created_at_s=7.0)

    for i, scale in enumerate(made.calibration.ranges):
        true = FULL_SCALE_LX[i] / SOUND.gain[i]
        assert abs(math.log(scale.full_scale_lx / true)) < 0.03
        assert scale.dark_raw == pytest.approx(SOUND.dark[i], abs=0.0005)
        assert 0.002 < scale.u_rel < 0.02
    record = made.calibration
    assert (record.method, record.reference, record.created_at_s) == ("reference", "lab", 7.0)
    # 0.5 cm of plane at 2 m is shared by all pairs like the reference: no mean takes it out.
    assert record.u_scale_rel == pytest.approx(math.hypot(0.02, 2 * 0.005 / 2.0))
    assert not record.relative
    assert len(record.details["points"]) == 4 + 4 + 2
    assert record.details["claim"]["steady_lx"][1][1] == pytest.approx(0.9295 * record.ranges[1].full_scale_lx, rel=0.01)


def test_the_levels_average_a_display_of_tenths_out() -> None:
    """Whatever the light, rounding to tenths of a stop leaves at most an eighth of a step in the mean of four levels; whole stops
    would leave half a step."""
    phases = np.linspace(0.0, 0.1, 101)

    def left(step: float) -> float:
        lights = phases[:, None] - step * np.arange(4)
        return float(np.abs(np.mean(np.round(lights / 0.1) * 0.1 - lights, axis=1)).max())

    assert left(step_stops(0.1)) <= 0.1 / 8 + 1e-6
    assert left(1.0) == pytest.approx(0.05, abs=0.0011)


@pytest.mark.parametrize(("resolution", "pairs", "swaps"), [(1 / 3, 10 + 2 * 3, 3), (0.1, 10, 2)], ids=["thirds", "tenths"])
def test_more_pops_are_asked_for_when_the_first_leave_too_much(resolution: float, pairs: int, swaps: int) -> None:
    """A reference that shows thirds of a stop leaves too much after four pops a range: three more levels are asked for, once;
    the meter then changes hands three times instead of twice.  What the pops of one sensor leave scatters: two of three decide."""
    taken, changed = [], []
    for seed in (5, 6, 7):
        sensor = SimulatedSensor(SOUND, np.random.default_rng(seed))
        walk = ScaleWalk(sensor.identity, sensor.calibration, resolution_stops=resolution)
        person = Photographer(sensor, sensor.rng, Reference(0.0, resolution_stops=resolution))
        person.walk(walk)
        assert walk.done
        taken.append(len(walk.group("pair")))
        changed.append(person.swaps)

    assert np.median(taken) == pairs
    assert np.median(changed) == swaps


def test_a_usual_walk_is_two_dozen_measurements(sensor: SimulatedSensor) -> None:
    """What the sensor has to see: 24; the reference is read ten times more, in one go."""
    walk = ScaleWalk(sensor.identity, sensor.calibration)

    photographer(sensor).walk(walk)

    assert len([t for t in walk.taken if t.task.kind != TYPED]) == 24
    assert len(walk.group("ref")) == 10


def test_more_levels_than_a_range_has_room_for_lie_between_the_others(sensor: SimulatedSensor) -> None:
    """``--levels 10``: no pop below a tenth of its range is asked for, none of power that no range holds, and no two are alike."""
    walk = ScaleWalk(sensor.identity, sensor.calibration, levels=10)

    photographer(sensor).walk(walk)

    for index in (0, 1):
        pops = [t for t in walk.group("pair") if t.task.name.startswith(f"pair-flash-{index}-")]
        levels = sorted(walk.level_of(t.measurement) or 0.0 for t in pops)
        assert len(levels) == 10
        assert min(levels) >= 0.09
        assert all(later / sooner > 1.05 for sooner, later in pairwise(levels))


def finished(sensor: SimulatedSensor, **light: float) -> tuple[ScaleWalk, Calibration]:
    """A walk with what someone owns, and what it makes."""
    walk, person = ScaleWalk(sensor.identity, sensor.calibration), photographer(sensor)
    for name, value in light.items():
        setattr(person, name, value)
    person.walk(walk)
    made = walk.result(reference="lab", u_reference_rel=0.02, u_reference_reading_rel=0.022).calibration
    for scale, full, gain in zip(made.ranges, FULL_SCALE_LX, SOUND.gain, strict=True):
        assert abs(math.log(scale.full_scale_lx * gain / full)) < 0.035
    return walk, made


def test_a_room_lamp_of_500_lx_and_one_flash_finish(sensor: SimulatedSensor) -> None:
    """The room lamp is read, told to weigh nothing and left out; both ranges have their scale from the flash."""
    walk, made = finished(sensor, lamp_lx=500.0)

    assert [t.task.name for t in walk.taken if "steady" in t.task.name] == ["ref-steady-0"]
    assert {p["kind"] for p in made.details["points"]} == {"flash"}


def test_a_lamp_of_15_klx_is_used_as_far_as_it_goes(sensor: SimulatedSensor) -> None:
    """Nothing brighter than 15 klx is asked for: two levels on the sensitive range."""
    walk, _ = finished(sensor, lamp_lx=15e3)

    assert [t.value for t in walk.taken if t.task.name == "ref-steady-0"] == [pytest.approx(15e3, rel=0.06)]
    assert [t.task.name for t in walk.group("pair") if "steady" in t.task.name] == ["pair-steady-1-1", "pair-steady-1-0"]


def test_a_flash_too_weak_for_the_bright_range_finishes(sensor: SimulatedSensor) -> None:
    """300 klx at its peak: the bright range is left out and has its scale from the overlap, known less well."""
    walk, made = finished(sensor, brightest_lx=300e3)

    assert {p["range"] for p in made.details["points"] if p["kind"] == "flash"} == {1}
    assert "pair-flash-0-3" in walk.skipped
    assert made.ranges[0].u_rel > made.ranges[1].u_rel


def test_a_pair_is_taken_again_with_its_reference(sensor: SimulatedSensor) -> None:
    """Of a pair that lies apart dome and reference are both asked for again; nothing else is."""
    walk = ScaleWalk(sensor.identity, sensor.calibration)
    photographer(sensor).walk(walk)
    before = len(walk.taken)

    assert walk.retake(["dim", "flash level 2, range dim", 0.3]) == ["pair-flash-1-1"]

    assert len(walk.taken) == before - 2
    assert walk.task is not None
    assert walk.task.name == "pair-flash-1-1"
    photographer(sensor).walk(walk)
    assert len(walk.taken) == before


def test_once_a_light_is_taken_it_is_not_to_be_touched(sensor: SimulatedSensor) -> None:
    """The level is asked for at the first of a step's readings only: nobody is told to turn a light that must not move."""
    walk = one_task(sensor, wanted=2, fill=(0.3, 0.5), range_index=1)

    assert walk.take(sensor.steady(1e4, 1)).code == "fill_wanted"
    assert walk.taken == []
    walk.take(sensor.steady(8e4, 1))
    walk.take(sensor.steady(5e4, 1))

    assert walk.done


def test_without_a_reference_ratios_are_right_and_f_numbers_marked(sensor: SimulatedSensor) -> None:
    """A relative calibration has the ranges' true ratio and says that its f-numbers are relative."""
    walk = ScaleWalk(sensor.identity, sensor.calibration, relative=True)

    photographer(sensor).walk(walk)
    made = walk.result()

    ratio = made.calibration.ranges[0].full_scale_lx / made.calibration.ranges[1].full_scale_lx
    assert ratio == pytest.approx(10 * 0.93 / 0.9, rel=0.04)
    assert made.calibration.relative
    assert made.calibration.u_scale_rel == 0.3
    assert "relative" in str(made.warnings[0])


def test_calibrate_angle_keeps_the_scale_and_adds_the_response(sensor: SimulatedSensor) -> None:
    """The angular error is found within 0.06 stop at 60 and 90 degrees; the scale stays; a new record is made."""
    walk = AngleWalk(sensor.identity, sensor.calibration)

    photographer(sensor).walk(walk)
    made, fit = walk.result()

    for degrees, stops, _ in fit.error_stops:
        s = 1 - math.cos(math.radians(degrees))
        if degrees <= 90:
            assert stops == pytest.approx((-0.1 * s + 0.02 * s * s) / math.log(2), abs=0.08)
    assert made.ranges == sensor.calibration.ranges
    assert made.id != sensor.calibration.id
    assert made.angle_response[0] == (0.0, 1.0)
    assert made.details["angle"]["error_index"] == fit.error_index


def measurement(sensor: SimulatedSensor, **changes: object) -> Measurement:
    """A steady measurement at half of the sensitive range."""
    return sensor.steady(1e5, 1)._replace(**changes)


def one_task(sensor: SimulatedSensor, **changes: object) -> Procedure:
    """A walk with one task."""
    task = Task("torch", "torch", "Light it.", "steady", range_index=1)._replace(**changes)
    return Procedure(sensor.identity, sensor.calibration, [task])


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"kind": "flash"}, "wants steady light"),
        ({"range_index": 0}, "another range than dim"),
        ({"incomplete": True}, "did not arrive whole"),
        ({"clipped": True}, "too bright"),
        ({"illuminance_lx": 100.0}, "too dim"),
    ],
)
def test_what_does_not_fit_is_not_counted_and_says_why(sensor: SimulatedSensor, changes: dict[str, object], words: str) -> None:
    """A measurement of another kind or range, clipped, incomplete or too dim changes nothing but is remembered."""
    walk = one_task(sensor)

    said = walk.take(measurement(sensor, **changes))

    assert words in str(said)
    assert walk.taken == []
    assert len(walk.refused) == 1


def test_light_that_should_fill_a_range_is_asked_for_three_times(sensor: SimulatedSensor) -> None:
    """Half of the range instead of 80 % is refused three times, then taken: a range may end there."""
    walk = one_task(sensor, fill=(0.75, 0.95))

    said = [str(walk.take(measurement(sensor))) for _ in range(4)]

    assert all("turn the power up" in s for s in said[:3])
    assert said[3] == "torch: done"


def test_undo_and_skip(sensor: SimulatedSensor) -> None:
    """The last one can be taken back; only an optional step can be left out."""
    walk = one_task(sensor, wanted=2, optional=True)
    walk.take(measurement(sensor))

    assert walk.progress == (1, 2)
    assert "taken back" in str(walk.undo())
    with pytest.raises(UsageError, match="nothing"):
        walk.undo()
    assert "left out" in str(walk.skip())
    assert walk.done
    with pytest.raises(UsageError, match="every step is done"):
        walk.take(measurement(sensor))
    with pytest.raises(UsageError, match="cannot be left out"):
        one_task(sensor).skip()


def test_measurements_of_other_sensors_and_calibrations_are_refused(sensor: SimulatedSensor) -> None:
    """Another sensor's or another calibration's measurement is an error, as is another sensor's calibration."""
    walk = one_task(sensor)
    with pytest.raises(CalibrationError, match="another sensor"):
        walk.take(measurement(sensor, sensor_id="x"))
    with pytest.raises(CalibrationError, match="another calibration"):
        walk.take(measurement(sensor, calibration_id="x"))
    with pytest.raises(CalibrationError, match="another sensor"):
        Procedure(sensor.identity, sensor.calibration._replace(sensor_id="x"), [])


def test_a_known_flash_gives_its_light_by_guide_number_over_distance(sensor: SimulatedSensor) -> None:
    """GN 40 at 5 m is f/8, 64·C/100 lx·s (ISO 1230's product)."""
    walk = GuideWalk(sensor.identity, sensor.calibration, 40.0, [5.0, 2.5], 0)
    far = next(t for t in walk.tasks if t.value == 5.0)

    assert walk.light_of(Taken(far, measurement(sensor), far.value)) == pytest.approx(0.64 * walk.calibration.constant)


def test_a_known_flash_counts_however_far_it_fills_its_range(sensor: SimulatedSensor) -> None:
    """Its distances are given, so a tenth of the range is not asked to become nearly half of it first."""
    walk = GuideWalk(sensor.identity, sensor.calibration, 40.0, [5.0, 2.5], 0)
    sensor.calibration = walk.calibration
    walk.tasks = [t for t in walk.tasks if t.value]

    walk.take(sensor.flash(2e5 * 4e-4, 0))

    assert [t.value for t in walk.taken] == [5.0]


def test_a_steady_sensor_with_one_range_has_no_flash_steps() -> None:
    """A sensor that only sees steady light is walked through steady steps, without overlap."""
    identity = Identity("s", "steady", "text", ranges=("only",), adc_bits=16)
    calibration = SimulatedSensor(SOUND, np.random.default_rng(1)).calibration._replace(sensor_id="s")

    walk = ScaleWalk(identity, calibration)

    assert {t.kind for t in walk.tasks} == {"steady", TYPED}
    assert not [t for t in walk.tasks if t.name.startswith("overlap")]


def test_a_pair_that_a_german_refusal_names_is_taken_again(sensor: SimulatedSensor) -> None:
    """The step is known by a value of the refusal, no sentence is read, whatever language its title is in."""
    use("de")
    walk = ScaleWalk(sensor.identity, sensor.calibration)
    photographer(sensor).walk(walk)
    title = next(one.title for one in walk.tasks if one.name == "pair-flash-1-1")
    refusal = CalibrationError("{label} is not above the dark: leave it out", label=title)

    assert walk.retake(refusal.values.values()) == ["pair-flash-1-1"]
