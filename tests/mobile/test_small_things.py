"""The voice, the first page, made-up light and the demo set."""

from __future__ import annotations

import pytest

from meterlink.metering.driver import Metering
from meterlink.metering.walk import Request
from mobile.demo_set import SIMULATED_TAG, open_demo
from mobile.first_state import COUNTS, first_look, start_lights
from mobile.made_up import pulse_for
from mobile.sensor_desk import Found, Status
from mobile.set_state import camera_text, set_look
from mobile.voice import Voice


def test_readings_are_spoken_in_order_and_a_broken_voice_stops_nothing() -> None:
    """What the platform lacks is noticed once, never raised and never tried again."""
    said: list[str] = []

    def speak(text: str) -> None:
        said.append(text)
        if len(said) == 2:
            raise OSError("no speech engine")

    voice = Voice(speak, lambda _s: None)
    for text in ("one", "two", "three"):
        voice.say(text)
    voice.buzz("good")
    voice.buzz("no such verdict")
    voice.close()

    assert said[:2] == ["one", "two"]
    assert not voice.can_speak
    assert voice.can_vibrate
    voice.say("four")
    assert "four" not in said


def test_a_retake_shakes_longest() -> None:
    """Felt without looking: long means do it again."""
    shaken: list[float] = []
    voice = Voice(lambda _t: None, shaken.append)
    for verdict in ("good", "corrected", "retake"):
        voice.buzz(verdict)
    voice.close()

    assert shaken == sorted(shaken)
    assert len(set(shaken)) == 3


def test_the_first_page_offers_sensors_then_sets(metered) -> None:
    """Found sensors by name while none is connected; counts of lights; going on where one stopped."""
    shown = first_look(metered(0).desk.shot, Status(looking=True), (Found("ble:1", "dome", "sensor"),))
    assert shown.found == (("ble:1", "dome"),)
    assert shown.searching.startswith("looking")
    assert shown.resume == ""
    assert [n for n, _ in shown.counts] == list(COUNTS)

    ready = first_look(metered(2).desk.shot, Status(url="ble:1", state="ready", words="dome is connected"), ())
    assert ready.ready
    assert ready.found == ()
    assert ready.resume == "Continue Set"


@pytest.mark.parametrize("count", COUNTS)
def test_a_set_begins_with_a_key_and_distinct_names(count: int) -> None:
    """Every number of lights has its names, the key first."""
    lights = start_lights(count)

    assert len({name for name, _ in lights}) == count
    assert lights[0][1] == "key"


def test_made_up_light_follows_power_and_distance(metered) -> None:
    """One stop of power halves it; a point source twice as far gives a quarter (inverse square)."""
    one = metered(1)
    key = one.id_of("KEY")
    one.desk.move_light(key, distance_m=1.0, power_stops=-2.0)
    request = Request(key)
    full = pulse_for(one.desk.shot, request, 0.0).exposure_lxs

    one.desk.move_light(key, power_stops=-3.0)
    assert pulse_for(one.desk.shot, request, 0.0).exposure_lxs == pytest.approx(full / 2)
    one.desk.move_light(key, power_stops=-2.0, distance_m=2.0)
    assert pulse_for(one.desk.shot, request, 0.0).exposure_lxs == pytest.approx(full / 4)
    assert pulse_for(one.desk.shot, request, 1.0).exposure_lxs == pytest.approx(full)


def test_a_made_up_reflector_adds_to_its_source(metered) -> None:
    """With it in place there is more light than without, by what it adds."""
    one = metered(1)
    card = one.desk.add_light("CARD", "fill", source_id=one.id_of("KEY"))
    with_it = pulse_for(one.desk.shot, Request(card.id, purpose="with"), 0.0).exposure_lxs
    without = pulse_for(one.desk.shot, Request(card.id, purpose="without"), 0.0).exposure_lxs

    assert with_it > 1.05 * without


def test_the_app_fires_what_the_terminal_s_simulated_sensor_gets(metered) -> None:
    """Light for light the same flash, held off as it was asked for: one model of a made-up set, whoever fires it."""
    one = metered(2)
    session = one.desk.session
    driver = Metering(session, "sim:", on_outcome=lambda _: None)

    for light in session.lights():
        request = session.request(light, held_off_m=0.1)
        assert pulse_for(one.desk.shot, request, 0.1) == driver._pulse_of(request)


def test_nothing_fires_for_a_light_that_is_gone(metered) -> None:
    """A request of another set gives no pop."""
    shot = metered(1).desk.shot

    assert pulse_for(shot, Request("0" * 32), 0.0) is None
    assert pulse_for(shot, Request(None, purpose="together", lit=()), 0.0) is None


def test_the_demo_set_is_the_command_line_s_own_and_marked_as_simulated(metered) -> None:
    """Played from the recording of the real firmware: every light metered, one held off and corrected, a tag that says so."""
    from meterlink import demo

    one = metered(0)

    shot = open_demo(one.desk)

    rows = set_look(shot).rows
    assert [row.name for row in rows] == [light["name"] for light in demo.script()["lights"]]
    assert all(row.figure.main for row in rows)
    assert rows[0].verdict == "corrected"
    assert SIMULATED_TAG in shot.setup.tags
    assert "simulated" in camera_text(shot)
    assert shot.setup.name != open_demo(one.desk).setup.name
