"""What the metering page says where lights fire in any order, and what is heard on the way to the face."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from meterlink.metering.nearness import Near, Reached
from meterlink.records import Measurement
from mobile import metering_state as state
from mobile.voice import TICKS, Ticker, tick_wave

Make = Callable[..., Any]
FIELDS = {"t05_s": 0.0003, "t01_s": 0.001, "u_rel": 0.005}


def known(metered: Make, *exposures: float) -> Any:
    """A set that was metered, then every light turned up by a stop: all wait, and all are known."""
    one = metered(len(exposures))
    for value in exposures:
        one.pop(value, **FIELDS)
    for light in one.desk.shot.lights:
        one.desk.move_light(light.id, distance_m=1.5, power_text="1/4", power_stops=-2.0)
    one.desk.begin()
    for value in exposures:
        # In the announced order where nothing is known of these places yet.
        one.pop(value, **FIELDS)
    for light in one.desk.shot.lights:
        one.desk.move_light(light.id, power_text="1/2", power_stops=-1.0)
    one.desk.begin()
    return one


def names(shown: state.MeteringLook, *, waiting: bool) -> list[str]:
    """Names of the steps that wait, or do not."""
    return [chip.name for chip in shown.chips if chip.waiting == waiting]


def test_all_lights_wait_at_once_and_fill_as_they_are_heard(metered: Make) -> None:
    """No light is asked for: the page names all that may fire, and the one that fired has its verdict."""
    one = known(metered, 640.0, 200.0, 80.0)
    shown = state.metering_look(one.desk.shot)
    assert shown.headline == "in any order"
    assert shown.instruction == "fire any of them alone, dome at its point: KEY, FILL, HAIR"
    assert names(shown, waiting=True) == ["KEY", "FILL", "HAIR"]
    assert [chip.verdict for chip in shown.chips] == ["", "", ""]

    one.pop(400.0, **FIELDS)

    shown = state.metering_look(one.desk.shot)
    assert (shown.last_name, shown.note) == ("FILL", "")
    assert names(shown, waiting=True) == ["KEY", "HAIR"]
    assert [bool(chip.verdict) for chip in shown.chips] == [False, True, False]


def test_a_doubt_is_named_in_the_same_breath_and_one_touch_changes_it(metered: Make) -> None:
    """FILL or KEY: seen and heard at once, and the other one stands first where the pop can be given away."""
    one = known(metered, 110.0, 90.0)
    outcome = one.pop(199.0, **FIELDS)
    first, second = outcome.light.name, one.desk.shot.light(outcome.numbers["second"]).name

    shown = state.metering_look(one.desk.shot)

    assert {first, second} == {"KEY", "FILL"}
    assert shown.note == f"{first} or {second}?"
    assert shown.spoken.startswith(f"{first} or {second}, f ")
    assert shown.give_to[0][1] == second


def test_a_damaged_pop_is_no_lights(metered: Make) -> None:
    """Which light fired is not known: the page says that the last pop is to come again, not that of a light or of all."""
    one = known(metered, 640.0, 200.0)
    one.pop(0.0, incomplete=True)

    shown = state.metering_look(one.desk.shot)

    assert (shown.last_name, shown.note) == ("The last pop", "the pop arrived damaged: fire the same light once more")


def test_a_pop_that_fits_no_light_can_be_given_to_any(metered: Make) -> None:
    """Far too strong and far too long: kept as nobody's, and every light of the walk is offered for it."""
    one = known(metered, 640.0, 200.0)
    one.pop(60_000.0, t05_s=0.002, t01_s=0.02, u_rel=0.005)

    shown = state.metering_look(one.desk.shot)

    assert [name for _, name in shown.give_to] == ["KEY", "FILL"]
    one.desk.give_to("KEY")
    assert one.desk.shot.last.exposure_lxs == 60_000.0


def test_a_set_never_read_keeps_its_order_and_says_why(metered: Make) -> None:
    """By default, too: of lights that nobody read nothing can tell, so the first one is asked for."""
    one = metered(3)
    one.desk.begin()

    shown = state.metering_look(one.desk.shot)

    assert (shown.headline, names(shown, waiting=True)) == ("KEY", ["KEY"])
    assert shown.instruction == "fire it alone, dome at the face"
    assert shown.note == "none of these lights is known yet: fire them in this order"


def test_two_lights_that_cannot_be_told_apart_are_said_on_the_page(metered: Make) -> None:
    """Before the first pop, under the name of the one that is to be fired first."""
    one = known(metered, 200.0, 201.0)

    shown = state.metering_look(one.desk.shot)

    assert (shown.headline, shown.instruction) == ("KEY", "KEY and FILL cannot be told apart: fire KEY first")


def test_off_the_order_is_the_announced_one(metered: Make) -> None:
    """As long as nobody asks for any order a known set keeps its own."""
    one = known(metered, 640.0, 200.0)
    one.desk.remember(free_order=False)
    one.desk.begin()

    shown = state.metering_look(one.desk.shot)

    assert (shown.headline, names(shown, waiting=True)) == ("KEY", ["KEY"])


def test_the_range_finder_is_judged_by_the_reach_of_the_light(metered: Make) -> None:
    """Placed at 1.5 m, 2 cm are good and 60 cm too far; nothing is said without a finder."""
    one = known(metered, 640.0, 200.0)
    level = Measurement("steady", 0.0, "s", "c", illuminance_lx=100.0)
    reached = [state.near_of(one.desk.shot, level._replace(held_off_m=held)) for held in (0.01, 0.55)]

    assert [where.reached for where in reached if where] == [Reached.GOOD, Reached.FAR]
    assert state.near_of(one.desk.shot, level) is None
    assert state.near_of(one.desk.shot, None) is None


def test_the_tick_quickens_on_the_way_in_and_ready_is_heard_once() -> None:
    """Ten seconds at each distance: more ticks the nearer, none within reach but one tone when it is still."""
    def heard(*where: Near | None) -> list[str]:
        ticker = Ticker()
        return [tick for i, one in enumerate(where) for tick in [ticker.due(one, 10.0 + 0.05 * i)] if tick]

    def at(held_off_m: float) -> Near:
        reached = Reached.GOOD if held_off_m <= 0.05 else Reached.FAR
        return Near(reached, held_off_m, "KEY", 0.05, 0.15, ready=reached == Reached.GOOD)

    far, nearer, good = (heard(*[at(held)] * 200) for held in (0.5, 0.15, 0.04))
    assert set(far) == set(nearer) == {"near"}
    assert 2 * len(far) < len(nearer)
    assert good == ["ready"]
    assert heard(*[at(0.04)] * 9, *[at(0.5)] * 40, *[at(0.04)] * 9).count("ready") == 2
    assert heard(None, Near(Reached.UNKNOWN, None)) == []
    assert all(tick_wave(kind)[:4] == b"RIFF" for kind in TICKS)


def test_a_distance_that_is_remembered_is_said_of_each_light_that_may_fire(metered: Make) -> None:
    """In any order the pop tells whose it is: each name says how the dome is taken to be held, one tap changes it."""
    one = known(metered, 640.0, 200.0, 80.0)
    one.desk.hold_off(one.id_of("FILL"), 0.1)
    assert state.metering_look(one.desk.shot).recalled == "", "it was said just now"
    one.desk.begin()

    shown = state.metering_look(one.desk.shot)
    assert shown.instruction == "fire any of them alone, dome at its point: KEY, FILL 10 cm off, HAIR"
    assert (shown.recalled, shown.hold_at_point) == ("Remembered: FILL 10 cm off", "At the point")
    shown = state.metering_look(one.desk.hold_at_point())
    assert (shown.recalled, shown.hold_at_point) == ("", "")
    assert shown.instruction.endswith("KEY, FILL, HAIR")
