"""What to change so that the lights give what is wanted."""

from __future__ import annotations

from math import log2, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_sets import all_at_once, light, placed, read, view

from meterlink.errors import UsageError
from meterlink.judging.history import pasts_from
from meterlink.judging.judged_set import JudgedSet
from meterlink.records import Calibration
from meterlink.tables.overlap import Overlap, overlap_of, solve
from meterlink.tables.ratios import ratio_table
from meterlink.tables.targets import HIGHLIGHT_TO_SHADOW, INCIDENT, Wish, parse_wish, plan

CALIBRATION = Calibration("c", "x", 0.0, 330.0)
KEY = light(0, "KEY", "key", power_step_stops=0.1, fixture="A")
FILL = light(1, "FILL", "fill", power_step_stops=0.1, fixture="B")
BACK = light(2, "BACK", "background", point="background", power_step_stops=0.1, fixture="C")
PLACES = [placed(i, power_stops=-3.0, power_text="1/8", azimuth_deg=30.0 * i) for i in range(3)]


def whole(readings: list, lights: list | None = None, places: list | None = None, **more: object) -> JudgedSet:
    """A set of key, fill and background light with a calibration."""
    return view(lights or [KEY, FILL, BACK], places or PLACES, readings, **more)._replace(calibrations={"c": CALIBRATION})


THREE = [read(0, 330.0), read(1, 330.0), read(2, 330.0, point="background")]


def moves(found: object) -> dict[str, object]:
    """Rows by light."""
    return {row.light: row for row in found.rows}


def test_an_f_number_is_wanted_at_the_point() -> None:
    """N² = H·S/C: at ISO 100 and C 330 a reading of 330 lx·s is f/10; f/8 (exactly 8) asks for 0.64 of it."""
    found = moves(plan(whole(THREE), [parse_wish("KEY=f/8")]))

    assert found["KEY"].wanted_lxs == pytest.approx(8.0**2 * 330.0 / 100.0)
    assert found["KEY"].change_stops == pytest.approx(log2(0.64), abs=1e-9)
    assert abs(found["KEY"].predicted_stops) <= 0.05


def test_stops_are_counted_from_what_the_key_will_give() -> None:
    """With the key asked for f/8 the fill at -1 is a stop below that, not below what the key gives now."""
    found = moves(plan(whole(THREE), [parse_wish("FILL=-1"), parse_wish("KEY=f/8")]))

    reached = 330.0 * 2.0 ** found["KEY"].move.achieved_stops
    assert found["FILL"].wanted_lxs == pytest.approx(reached / 2)


def test_a_key_that_cannot_follow_takes_the_others_with_it() -> None:
    """The key misses f/45 by far; the fill still keeps its distance from what the key does reach."""
    found = moves(plan(whole(THREE), [parse_wish("KEY=f/45"), parse_wish("FILL=-1")], by="power"))

    assert not found["KEY"].move.feasible
    assert found["KEY"].move.power_stops == 0.0
    assert found["FILL"].wanted_lxs == pytest.approx(330.0 * 2.0**3 / 2)


def test_a_ratio_means_what_its_definition_says() -> None:
    """3:1 key to fill is log2(3) = 1.58 stops; (key + fill) to fill of 3:1 leaves the fill one stop below the key."""
    assert parse_wish("FILL=3:1").from_key_stops == pytest.approx(-log2(3.0))
    assert parse_wish("FILL=3:1", HIGHLIGHT_TO_SHADOW).from_key_stops == pytest.approx(-1.0)
    said = str(plan(whole(THREE), [parse_wish("FILL=3:1")]).notes[-1])
    assert said == "FILL=3:1: key to fill 3:1, each alone (incident): FILL 1.6 stops under the key"
    said = str(plan(whole(THREE), [parse_wish("FILL=3:1", HIGHLIGHT_TO_SHADOW)]).notes[-1])
    assert said == "FILL=3:1: (key + fill) to fill 3:1 (highlight to shadow): FILL 1.0 stop under the key"


@pytest.mark.parametrize("definition", [INCIDENT, HIGHLIGHT_TO_SHADOW])
def test_a_fill_of_one_to_three_is_a_fill_of_three_to_one(definition: str) -> None:
    """The key is the stronger, from whichever side the ratio is written (common practice, no published source)."""
    one, other = (plan(whole(THREE), [parse_wish(text, definition)]) for text in ("FILL=1:3", "FILL=3:1"))

    assert one.rows[0].change_stops == pytest.approx(other.rows[0].change_stops)
    assert str(one.rows[0].sentence) == str(other.rows[0].sentence)
    assert one.rows[0].change_stops < -0.9
    assert "FILL=1:3: " in str(one.notes[-1])
    assert " 3:1" in str(one.notes[-1])


def test_another_light_may_be_stronger_than_the_key() -> None:
    """Of a background 1:2 is a stop above the key, 2:1 a stop under it; both are said back."""
    above, under = (plan(whole(THREE), [parse_wish(text)]) for text in ("BACK=1:2", "BACK=2:1"))

    assert [found.rows[0].change_stops for found in (above, under)] == pytest.approx([1.0, -1.0])
    assert str(above.notes[-1]) == "BACK=1:2: key to BACK 1:2, each alone (incident): BACK 1.0 stop above the key"
    assert str(under.notes[-1]).endswith("BACK 1.0 stop under the key")
    assert str(plan(whole(THREE), [parse_wish("BACK=1:1")]).notes[-1]).endswith("BACK as strong as the key")


def test_what_cannot_be_says_why_and_what_is_nearest() -> None:
    """f/45 is 4.3 stops more than f/10: three by the dial at 1/8, the rest by the stand, and what is missing then."""
    power = str(moves(plan(whole(THREE), [parse_wish("KEY=f/45")], by="power"))["KEY"].sentence)
    assert power == "KEY: f/45 cannot be: full power is reached 1.4 stops short; the nearest: power up to full, 1.4 stops under"
    both = str(moves(plan(whole(THREE), [parse_wish("KEY=f/90")]))["KEY"].sentence)
    assert "f/90 cannot be: even at full power and 30 cm it stays " in both
    assert "the nearest: power up to full and " in both


def test_at_full_power_only_the_stand_is_left() -> None:
    """A light that has no more power is carried nearer, and it is said why; no power is told that it does not have."""
    places = [PLACES[0]._replace(power_stops=0.0, power_text="1/1"), *PLACES[1:]]
    row = moves(plan(whole(THREE, places=places), [parse_wish("KEY=f/13")]))["KEY"]

    assert row.move.power_stops is None
    assert row.move.distance_m < places[0].distance_m
    assert str(row.sentence).startswith("KEY: at full power already, so ")
    assert row.move.feasible


def test_nobody_is_sent_to_a_stand_for_a_centimetre() -> None:
    """What the dial's step leaves is closed by carrying the stand only from two centimetres on."""
    for stops in (0.132, 0.158, 0.233):
        row = plan(whole(THREE), [Wish("FILL", None, stops)]).rows[0]
        assert row.move.distance_m is None or abs(row.move.distance_m - PLACES[1].distance_m) >= 0.02


@pytest.mark.parametrize("stops", [0.0, 0.031, -0.031, 0.049, -0.049])
def test_a_light_that_gives_what_is_wanted_is_left(stops: float) -> None:
    """A change that is shown as 0.0 is none: neither the dial nor the stand, so that its reading stands."""
    row = plan(whole(THREE), [Wish("FILL", None, stops)]).rows[0]

    assert row.move.empty
    assert str(row.sentence) == "FILL: leave it"


def test_a_role_stands_for_the_one_light_that_has_it() -> None:
    """No light is called FILL and the CARD is the fill: it is meant, in a ratio too; of two fills neither is."""
    card = FILL._replace(name="CARD")
    row = plan(whole(THREE, lights=[KEY, card, BACK]), [parse_wish("fill=1:2")]).rows[0]

    assert (row.light, row.change_stops) == ("CARD", pytest.approx(-1.0, abs=1e-9))
    with pytest.raises(UsageError, match="there is no light 'FILL'"):
        plan(whole(THREE, lights=[KEY, card, BACK._replace(role="fill")]), [parse_wish("FILL=-1")])


def test_a_lamp_beside_a_flash_is_counted_as_the_ratio_table_counts_it() -> None:
    """Over 1/125 s a lamp of 20,000 lx gives 160 lx·s; asked a stop under a key of 330 it is told by how much the table says."""
    lamp = read(1, 0.0, kind="steady", illuminance_lx=20_000.0)._replace(exposure_lxs=None)
    at = whole([THREE[0], lamp], lights=[KEY, FILL], places=PLACES[:2])
    at = at._replace(setup=at.setup._replace(shutter_s=1 / 125))
    (fill,) = [row for row in ratio_table(at).rows if row.light == "FILL"]

    found = moves(plan(at, [parse_wish("FILL=-1")]))["FILL"]

    assert fill.from_key_stops == pytest.approx(log2(160.0 / 330.0))
    assert found.wanted_lxs == pytest.approx(330.0 / 2 * 125)
    assert found.change_stops == pytest.approx(-1.0 - fill.from_key_stops)


def test_lights_aimed_otherwise_are_counted_as_the_ratio_table_counts_them() -> None:
    """A fill from the side, read toward the camera, gives more toward itself: table and plan carry it alike."""
    at = whole([THREE[0], read(1, 200.0, aim="camera")], lights=[KEY, FILL], places=[PLACES[0], placed(1, azimuth_deg=60.0)])
    (fill,) = [row for row in ratio_table(at).rows if row.light == "FILL"]

    found = moves(plan(at, [parse_wish("FILL=-1")]))["FILL"]

    assert fill.from_key_stops > log2(200.0 / 330.0) + 0.1
    assert found.change_stops == pytest.approx(-1.0 - fill.from_key_stops)


@pytest.mark.parametrize(
    ("how", "says"),
    [({"sensor_id": "y"}, "FILL: metered with another sensor"), ({"receptor": "flat"}, "FILL: metered with the flat receptor"),
     ({"kind": "steady", "exposure_lxs": None, "illuminance_lx": 20_000.0}, "FILL: steady light against flash needs the shutter")],
)  # fmt: skip
def test_what_the_ratio_table_does_not_compare_has_no_target(how: dict, says: str) -> None:
    """The reason is the table's."""
    fill = read(1, 330.0)._replace(**how)

    with pytest.raises(UsageError, match=says):
        plan(whole([THREE[0], fill], lights=[KEY, FILL], places=PLACES[:2]), [parse_wish("FILL=-1")])


def test_the_key_on_the_background_is_taken_off_its_light() -> None:
    """The key spills 100 lx·s on a background that is to get 300: its own light has to bring 200."""
    spill = read(0, 100.0, order=1, point="background")
    found = moves(plan(whole([*THREE, spill]), [Wish("BACK", None, log2(300 / 330))]))

    assert found["BACK"].now_lxs == pytest.approx(430.0)
    assert found["BACK"].change_stops == pytest.approx(log2(200 / 330), abs=1e-9)
    assert abs(found["BACK"].predicted_stops) <= 0.05


def test_spill_alone_is_already_too_much() -> None:
    """Where the other lights give more than is wanted, the nearest is to switch the light off, and that is said."""
    spill = read(0, 300.0, order=1, point="background")
    found = plan(whole([*THREE, spill]), [Wish("BACK", None, -2.0)], by="power")

    assert not found.feasible
    assert "switch it off" in str(found.notes[0])
    assert found.rows[0].move.power_stops == pytest.approx(-8.0)


def test_spill_metered_in_another_way_is_left_out_and_named() -> None:
    """A flat receptor's reading is no summand of a dome's."""
    spill = read(0, 100.0, order=1, point="background", receptor="flat")
    found = plan(whole([*THREE, spill]), [Wish("BACK", None, -1.0)])

    assert moves(found)["BACK"].now_lxs == pytest.approx(330.0)
    assert "another way" in str(found.notes[0])


def test_spill_of_an_old_placement_does_not_count() -> None:
    """The key was moved since it was metered at the background: nothing is known of its spill now."""
    spill = read(0, 100.0, order=1, point="background")._replace(placement_id="p9")

    assert overlap_of(whole([*THREE, spill]), ["l2"]).given["l2"] == {"l2": 330.0}


@st.composite
def systems(draw: st.DrawFn) -> tuple[Overlap, dict[str, float], np.ndarray, np.ndarray]:
    """Overlap systems with a known positive solution, not only diagonally dominant ones."""
    size = draw(st.integers(1, 6))
    own = st.floats(1.0, 100.0)
    part = st.floats(0.0, 1.5)
    matrix = np.array([[draw(own) if i == j else 0.0 for j in range(size)] for i in range(size)])
    for i in range(size):
        for j in range(size):
            if i != j and draw(st.booleans()):
                matrix[i, j] = draw(part) * matrix[i, i]
    factors = np.array([draw(st.floats(0.05, 8.0)) for _ in range(size)])
    names = [f"l{i}" for i in range(size)]
    given = {names[i]: {names[j]: matrix[i, j] for j in range(size) if matrix[i, j]} for i in range(size)}
    wanted = dict(zip(names, (matrix @ factors).tolist(), strict=True))
    return Overlap(tuple(names), given, {}), wanted, matrix, factors


@given(systems())
def test_the_system_is_solved_like_numpy_does(case: tuple) -> None:
    """Where a positive solution exists, it is found: the same as numpy.linalg.solve, spill larger than a light's own included."""
    system, wanted, matrix, _ = case
    if np.linalg.cond(matrix) > 1e6:
        return
    expected = np.linalg.solve(matrix, np.array(list(wanted.values())))
    found, dark = solve(system, wanted)

    assert not dark
    assert list(found.values()) == pytest.approx(expected.tolist(), rel=1e-6)


@given(systems(), st.data())
def test_settled_lights_are_taken_as_they_are(case: tuple, data: st.DataObject) -> None:
    """With one factor given, the others solve what is left (numpy.linalg.solve of the smaller system)."""
    system, wanted, matrix, factors = case
    if len(factors) < 2 or np.linalg.cond(matrix[1:, 1:]) > 1e6:
        return
    found, _ = solve(system, wanted, {"l0": float(factors[0])})
    right = np.array(list(wanted.values()))[1:] - matrix[1:, 0] * factors[0]
    expected = np.linalg.solve(matrix[1:, 1:], right)

    assert found["l0"] == factors[0]
    assert [found[f"l{i}"] for i in range(1, len(factors))] == pytest.approx(expected.tolist(), rel=1e-6)


@given(
    st.lists(st.lists(st.floats(0.0, 50.0), min_size=3, max_size=3), min_size=3, max_size=3),
    st.lists(st.floats(0.1, 100.0), min_size=3, max_size=3),
)
def test_no_light_is_asked_to_give_less_than_nothing(rows: list, wanted: list) -> None:
    """Whatever is asked: factors are 0 or more, and lights that are not dark get what is wanted at their points."""
    for i in range(3):
        rows[i][i] += 60.0
    system = Overlap(("a", "b", "c"), {n: dict(zip("abc", rows[i], strict=True)) for i, n in enumerate("abc")}, {})
    found, dark = solve(system, dict(zip("abc", wanted, strict=True)))

    assert all(value >= 0.0 for value in found.values())
    assert dark == {n for n, value in found.items() if value == 0.0}
    for name, value in zip("abc", wanted, strict=True):
        if name not in dark:
            assert system.light_at(name, found) == pytest.approx(value, rel=1e-6)


def test_a_reflector_follows_its_source() -> None:
    """The key goes up by two stops and its card with it: a card wished a stop below the key as before stays where it is."""
    card = light(1, "CARD", "fill", source_light_id="l0")
    # Ids sort by time: the placements are older than the readings.
    places = [PLACES[0]._replace(id="-0"), placed(1, power_stops=None)._replace(id="-1")]
    both = [
        read(0, 330.0)._replace(placement_id="-0"),
        read(1, 495.0, order=1, purpose="with")._replace(placement_id="-1"),
        read(1, 330.0, order=2, purpose="without")._replace(placement_id="-1"),
    ]
    found = moves(plan(whole(both, [KEY, card], places), [parse_wish("CARD=-1"), Wish("KEY", sqrt(4 * 330 * 100 / 330.0))]))

    assert found["KEY"].move.achieved_stops == pytest.approx(2.0)
    assert found["CARD"].move.empty
    assert abs(found["CARD"].predicted_stops) < 0.05


def test_spill_of_a_reflector_without_a_wish_follows_its_source() -> None:
    """A card that nobody wished for is turned up with the key that feeds it."""
    system = Overlap(("l0",), {"l0": {"l0": 100.0, "l1": 50.0}}, {"l1": "l0"})

    assert solve(system, {"l0": 300.0})[0] == {"l0": pytest.approx(2.0)}


def test_learnt_dial_duration_and_colour_are_stated() -> None:
    """A head that gets shorter, bluer and less than its dial says going down: all three come from its own readings."""
    earlier = []
    for i, power in enumerate((-5.0, -4.0, -3.0, -2.0)):
        place = placed(0, power_stops=power)._replace(id=f"q{i}")
        then = read(0, 330.0 * 2.0 ** (0.8 * (power + 3.0)), order=i, t01_s=0.001 * 2.0 ** (power / 2), cct_k=5150 - 300 * power)
        earlier.append((KEY, place, then._replace(placement_id=f"q{i}")))
    history = pasts_from(earlier)
    seen = whole([read(0, 330.0, order=9, t01_s=0.00035, cct_k=6050.0), *THREE[1:]], history=history)
    key = moves(plan(seen, [Wish("KEY", sqrt(165.0 * 100 / 330.0))]))["KEY"]

    assert key.move.power_stops == pytest.approx(-4.25, abs=0.1)
    assert key.move.learnt
    assert any(str(effect).startswith("shorter flash: t0.1 1/") for effect in key.move.effects)
    assert any(str(effect).startswith("cooler: 6") for effect in key.move.effects)


def test_a_move_states_softness_and_evenness() -> None:
    """By distance: the angle that the source fills, and what hands and feet get against the face, before and after."""
    found = moves(plan(whole(THREE, details={"face_height_m": 1.5}), [Wish("FILL", None, 1.0)], by="distance"))
    effects = "; ".join(map(str, found["FILL"].move.effects))

    # 90 cm at 1.2 m fill 2·atan(0.45/1.2) = 41 degrees.
    assert "instead of 41° seen from the face" in effects
    assert "softer" in effects
    assert "hands get −" in effects
    assert "feet −" in effects


def test_softness_is_told_from_where_the_light_is_aimed() -> None:
    """A fill that is aimed at the hands is as soft as it looks from there."""
    places = [PLACES[0], PLACES[1]._replace(aimed_at="hands"), PLACES[2]]
    found = moves(plan(whole(THREE, places=places), [Wish("FILL", None, 1.0)], by="distance"))

    assert "seen from the hands" in "; ".join(map(str, found["FILL"].move.effects))


def test_a_plan_that_rests_on_a_contradicted_reading_says_so_first() -> None:
    """The pop of both lights gives half of what each gave alone: which is to be fired once more stands before the definitions."""
    places = [one._replace(azimuth_deg=0.0) for one in PLACES]
    seen = whole([read(0, 330.0), read(1, 330.0), all_at_once(150.0, (0, 1))], places=places)
    doubted = next(one for one in seen.lights if one.judged and one.judged.against)
    first = str(plan(seen, [parse_wish("FILL=3:1")]).notes[0])

    assert first == f"fire {doubted.light.name} once more first: {doubted.judged.against}"


WRONG = [
    ("KEY", "write KEY=f/8"),
    ("=f/8", "write KEY=f/8"),
    ("KEY=", "write KEY=f/8"),
    ("FILL=a:b", "ratio"),
    ("FILL=loud", "target"),
    ("KEY=f/8.3", "f/8"),
]


@pytest.mark.parametrize(("text", "words"), WRONG)
def test_wishes_that_cannot_be_read_say_how(text: str, words: str) -> None:
    """One line that shows what is accepted."""
    with pytest.raises(Exception, match=words):
        parse_wish(text)


UNFIT = [
    (["FILL=-1", "fill=-2"], "two targets"),
    (["KEY=-1"], "give it an f-number"),
    (["NOBODY=-1"], "no light"),
    (["BACK=3:1"], "no fill"),
    ([], "say what is wanted"),
]


@pytest.mark.parametrize(("texts", "words"), UNFIT)
def test_wishes_that_do_not_fit_the_set_are_refused(texts: list[str], words: str) -> None:
    """Two wishes for one light, stops for the key itself, unknown lights, a fill's ratio for another light, nothing at all."""
    with pytest.raises(UsageError, match=words):
        plan(whole(THREE), [parse_wish(text, HIGHLIGHT_TO_SHADOW) for text in texts])


def test_a_relative_calibration_knows_no_f_numbers() -> None:
    """Ratios can be asked for, f-numbers not."""
    seen = whole(THREE)._replace(calibrations={"c": CALIBRATION._replace(relative=True)})

    with pytest.raises(UsageError, match="relative"):
        plan(seen, [parse_wish("KEY=f/8")])
    assert plan(seen, [parse_wish("FILL=-1")]).feasible


def test_a_stale_reading_is_no_basis() -> None:
    """The fill was moved since: it is to be metered first."""
    seen = whole([THREE[0], read(1, 330.0)._replace(placement_id="p7"), THREE[2]])

    with pytest.raises(UsageError, match="moved"):
        plan(seen, [parse_wish("FILL=-1")])


def test_a_singular_system_leaves_the_light_as_it_is() -> None:
    """Two points that say the same have no single answer: no light is touched that need not be."""
    both = {"KEY": 1.0, "RIM": 1.0}
    found, dark = solve(Overlap(("KEY", "RIM"), {"KEY": both, "RIM": both}, {}), {"KEY": 2.0, "RIM": 2.0})

    assert found == pytest.approx({"KEY": 1.0, "RIM": 1.0})
    assert not dark


@pytest.mark.parametrize("top", ["ten", [10], True])
def test_a_scale_that_is_no_number_is_not_believed(top: object) -> None:
    """Somebody else's file may say anything of a dial: its power is told as a part of full power."""
    key = KEY._replace(details={"scale_top": top})
    found = moves(plan(whole(THREE, [key, FILL, BACK]), [parse_wish("KEY=f/8")]))

    assert found["KEY"].move.power_text.startswith("1/16")
