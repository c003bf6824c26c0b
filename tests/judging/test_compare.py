"""Two sets side by side, and one set on two dates."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from small_sets import light, placed, read, view

from meterlink.errors import NotInLibrary
from meterlink.library.store import Library
from meterlink.metering.session import Session
from meterlink.metering.walk import Request
from meterlink.records import Calibration, Measurement, Setup, new_id
from meterlink.tables.compare import compare
from meterlink.words.language import use

LIGHTS = [light(0, "KEY", "key"), light(1, "FILL", "fill")]
PLACES = [placed(0), placed(1)]
BOTH = [read(0, 320.0), read(1, 80.0)]


def found(a: object, b: object) -> list[tuple[str, str, str, str]]:
    """Differences as plain tuples."""
    return [(one.light, one.what, str(one.first), str(one.second)) for one in compare(a, b)]


def test_the_same_set_has_no_difference() -> None:
    """Only what differs is said: nothing."""
    assert found(view(LIGHTS, PLACES, BOTH), view(LIGHTS, PLACES, BOTH)) == []


def test_a_moved_light_is_said_with_both_places() -> None:
    """Distance, power and gel of one light differ; nothing is said of the other."""
    moved = [placed(0, distance_m=1.5, power_text="1/2", gel="quarter warm"), placed(1)]

    assert found(view(LIGHTS, PLACES, []), view(LIGHTS, moved, [])) == [
        ("KEY", "distance", "1.20 m", "1.50 m"),
        ("KEY", "power", "–", "1/2"),
        ("KEY", "gel", "–", "quarter warm"),
    ]


def test_a_turned_light_is_said_by_its_sides() -> None:
    """As in the list of lights, in the language in use."""
    a, b = (view(LIGHTS, [placed(0, azimuth_deg=x, elevation_deg=y), placed(1)], []) for x, y in ((40.0, 30.0), (-140.0, -10.0)))

    assert found(a, b) == [("KEY", "azimuth", "40° right", "140° left"), ("KEY", "elevation", "30° up", "10° down")]
    use("de")
    assert [one[2:] for one in found(a, b)] == [("40° rechts", "140° links"), ("30° oben", "10° unten")]


def test_one_power_typed_in_two_ways_does_not_differ() -> None:
    """A blank within, or stops instead of a fraction: the dial stands where it stood; a third of a stop is a difference."""
    typed = [("1/16+0.6", -3.4), ("1/16 +0.6", -3.4), ("-3.4", -3.4), ("1/8", -3.0)]
    a, *others = [view(LIGHTS, [placed(0, power_text=text, power_stops=stops), placed(1)], []) for text, stops in typed]

    assert [found(a, b) for b in others] == [[], [], [("KEY", "power", "1/16+0.6", "1/8")]]


def test_what_looks_the_same_does_not_differ() -> None:
    """A tenth of a millimetre, a thousandth of a stop: a row of two equal figures would say nothing."""
    a, b = view(LIGHTS, PLACES, []), view(LIGHTS, [placed(0, distance_m=1.2004), placed(1)], [])
    a = a._replace(setup=a.setup._replace(shutter_s=0.008, filter_stops=1.0))
    b = b._replace(setup=b.setup._replace(shutter_s=0.00801, filter_stops=1.001))

    assert found(a, b) == []
    assert found(a, b._replace(setup=b.setup._replace(filter_stops=2.0))) == [("", "filter", "1.00 stops", "2.00 stops")]


def test_light_and_ratio_differ_in_stops() -> None:
    """The fill a stop stronger: its light at the point and its distance from the key; the key is not mentioned."""
    calibrated = {"c": Calibration("c", "x", 0.0, 330.0)}
    a = view(LIGHTS, PLACES, BOTH)._replace(calibrations=calibrated)
    b = view(LIGHTS, PLACES, [BOTH[0], read(1, 160.0)])._replace(calibrations=calibrated)

    assert found(a, b) == [("FILL", "light at its point", "0", "+1.00"), ("FILL", "from key", "−2.00", "−1.00")]


def test_lights_of_one_set_only_are_named() -> None:
    """A light that only one set has, whichever."""
    more = [*LIGHTS, light(2, "RIM", "rim")]

    assert found(view(more, PLACES, []), view(LIGHTS, PLACES, [])) == [("RIM", "in the set", "yes", "no")]
    assert found(view(LIGHTS, PLACES, []), view(more, PLACES, [])) == [("RIM", "in the set", "no", "yes")]


def test_camera_and_facts_are_compared() -> None:
    """ISO and a fact of the rebuild, with their units."""
    a = view(LIGHTS, PLACES, [], details={"face_height_m": 1.25})
    b = view(LIGHTS, PLACES, [], details={"face_height_m": 1.6, "mark": "cross", "sync_speed_s": 1 / 256, "focal_length_mm": 85.0})
    b = b._replace(setup=b.setup._replace(iso=200.0))

    assert found(a, b) == [
        ("", "ISO", "ISO 100", "ISO 200"),
        ("", "face height", "1.25 m", "1.60 m"),
        ("", "focal length", "–", "85 mm"),
        ("", "mark", "–", "cross"),
        ("", "sync speed", "–", "1/250 s"),
    ]


def test_a_difference_is_said_in_the_language_in_use_and_exported_in_english() -> None:
    """A person reads decimal commas and German words; what a program reads is the same everywhere."""
    use("de")
    moved = compare(view(LIGHTS, PLACES, BOTH), view(LIGHTS, [placed(0, distance_m=1.5), placed(1)], [BOTH[1]]))

    assert [str(one.second) for one in moved] == ["1,50 m", "nein"]
    assert [one.as_json()["second"] for one in moved] == ["1.50 m", "no"]
    assert str(moved[0].second) == "1,50 m"


@pytest.fixture
def dated(library: Library, calibration: Calibration, pop: Callable[..., Measurement]) -> Session:
    """A key metered at 1000 s, moved and metered again at 2000 s, its reading taken back at 3000 s or later (a real clock)."""
    clock = [1000.0]
    setup = Setup(new_id(500.0), "Potter", 500.0)
    library.add_setup(setup)
    session = Session(library, setup.id, now=lambda: clock[0])
    key = light(0, "KEY", "key")._replace(id=new_id(), setup_id=setup.id)
    session.add_light(key, placed(0)._replace(id=new_id(), light_id=key.id, created_at_s=900.0))
    session.begin([Request(key.id, held_off_m=0.0)])
    session.take(pop(320.0))
    clock[0] = 2000.0
    session.move(key, distance_m=1.5)
    session.begin([Request(key.id, held_off_m=0.0)])
    session.take(pop(200.0))
    return session


def test_a_set_is_seen_as_it_was(dated: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    """Before the move the old place and the old reading stood; now the new ones do."""
    # Versions of lights carry the real clock in their ids: what a test makes now existed "then", too.
    monkeypatch.setattr("meterlink.library.whole_sets.made_at_s", lambda _: 0.0)
    then, now = dated.view_at(1500.0), dated.view()

    assert [what for _, what, _, _ in found(then, now)] == ["distance", "light at its point"]
    assert then.lights[0].reading is not None
    assert then.lights[0].reading.exposure_lxs == 320.0


def test_a_reading_that_was_taken_back_later_stood_then(dated: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    """Taking back marks, it does not rewrite: the day before, the reading counted."""
    monkeypatch.setattr("meterlink.library.whole_sets.made_at_s", lambda _: 0.0)
    dated.undo()

    assert dated.view().lights[0].value is None
    assert dated.view_at(2500.0).lights[0].reading is not None


def test_a_light_that_was_added_later_was_not_there(dated: Session) -> None:
    """Lights are there from the moment their first version was made (now, by the real clock)."""
    assert dated.view_at(1500.0).lights == ()


def test_a_set_up_that_was_not_there_yet_is_refused(dated: Session) -> None:
    """A date before the set-up was made has nothing to show."""
    with pytest.raises(NotInLibrary, match="not there yet"):
        dated.view_at(400.0)
