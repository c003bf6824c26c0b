"""What a session says of each measurement, and what can be said to it afterwards: codes, reasons, distances, expectations."""

from __future__ import annotations

import errno
from collections.abc import Callable
from math import log2, sqrt

import pytest

from meterlink.errors import GeometryError, UsageError
from meterlink.judging.verdict import Why
from meterlink.library.store import Library
from meterlink.metering.expectation import expectation_of
from meterlink.metering.outcome import Code, OutcomeCode, OutcomeKind
from meterlink.metering.rebuild import copied_setup
from meterlink.metering.session import Session
from meterlink.metering.walk import Request
from meterlink.records import Kind, Light, Measurement, Placement, Purpose, Setup, Trouble, new_id

MakePop = Callable[..., Measurement]


def begin(session: Session, *names: str, **how: object) -> None:
    """Begin a walk through lights by name."""
    session.begin([session.request(session.light(name), **how) for name in names])


@pytest.mark.parametrize(
    ("changes", "code", "otherwise"),
    [
        ({"incomplete": True, "trouble": Trouble.LOST_DATA}, Trouble.LOST_DATA, "cable"),
        ({"incomplete": True, "trouble": Trouble.TOO_EARLY}, Trouble.TOO_EARLY, "ready"),
        ({"incomplete": True, "trouble": Trouble.UNCALIBRATED}, Trouble.UNCALIBRATED, "all of its ranges"),
        ({"incomplete": True, "trouble": Trouble.TOO_LONG}, Trouble.TOO_LONG, "slower sampling"),
        ({"incomplete": True, "trouble": Trouble.CUT_SHORT}, Trouble.CUT_SHORT, "longer record"),
        ({"incomplete": True, "trouble": Trouble.LAMP}, Trouble.LAMP, "take steady light"),
        ({"incomplete": True, "trouble": Trouble.NO_FLASH}, Trouble.NO_FLASH, "raise the power"),
        ({"incomplete": True, "trouble": Trouble.TWO_FLASHES}, Trouble.TWO_FLASHES, "slave cells"),
        ({"incomplete": True, "trouble": Trouble.WHICH_FLASH}, Trouble.WHICH_FLASH, "red-eye"),
        ({"incomplete": True, "trouble": Trouble.CANNOT_TELL}, Trouble.CANNOT_TELL, "quiet second"),
        ({"incomplete": True, "trouble": Trouble.UNREADABLE, "note": "strange"}, Trouble.UNREADABLE, "calibrate"),
        ({"clipped": True}, OutcomeCode.TOO_BRIGHT, "lower the power"),
        ({"too_dim": True}, OutcomeCode.TOO_DIM, "raise the power"),
    ],
)
def test_a_refusal_gives_its_reason_and_the_second_time_what_else_to_do(
    session: Session, pop: MakePop, changes: dict[str, object], code: Code, otherwise: str
) -> None:
    """Each reason has its code; once is bad luck, twice in a row there is something to be done; a good pop starts anew."""
    begin(session, "KEY", "FILL")

    first, second = session.take(pop(100.0, **changes)), session.take(pop(100.0, **changes))
    session.take(pop(200.0))
    other = session.take(pop(100.0, **changes))

    assert [o.kind for o in (first, second, other)] == [OutcomeKind.AGAIN] * 3
    assert [o.code for o in (first, second, other)] == [code] * 3
    assert [o.numbers["times"] for o in (first, second, other)] == [1, 2, 1]
    assert otherwise not in first.message
    assert otherwise in second.message
    assert otherwise not in other.message
    assert (first.light.name, other.light.name) == ("KEY", "FILL")


def test_a_further_pop_overwrites_nothing(session: Session, pop: MakePop) -> None:
    """When all is metered nothing is listened for, whether the walk went on by itself or stays at its light."""
    for by_itself in (True, False):
        session.auto_advance = by_itself
        begin(session, "KEY")
        session.take(pop(200.0))
        before = session.library.all_readings(session.setup.id)

        outcome = session.take(pop(100.0))

        assert outcome.code == OutcomeCode.NOT_LISTENING
        assert outcome.message.startswith("not listening: nothing is waited for")
        assert session.library.all_readings(session.setup.id) == before
        assert session.expected() is None


def test_a_light_metered_again_goes_back_to_what_was_waited_for(session: Session, pop: MakePop) -> None:
    """The key once more in the middle: then the hair light, not the fill whose reading is good."""
    begin(session, "KEY", "FILL", "HAIR")
    session.take(pop(200.0))
    session.take(pop(50.0))

    session.wait_for(session.request(session.light("KEY")))
    session.take(pop(210.0))

    assert session.walk.waiting.light_id == session.light("HAIR").id
    session.take(pop(90.0))
    assert session.walk.done


def test_a_pop_while_steady_light_is_waited_for_is_said(session: Session, pop: MakePop) -> None:
    """Another kind does not count, and says so with its code."""
    begin(session, "KEY", kind=Kind.STEADY)

    outcome = session.take(pop(100.0))

    assert (outcome.kind, outcome.code) == (OutcomeKind.IGNORED, OutcomeCode.OTHER_KIND)
    assert "steady light of KEY" in outcome.message


@pytest.mark.parametrize(("high", "logged"), [(110.0, True), (200.0, False)])
def test_a_clipped_pop_counts_when_its_light_is_bounded(session: Session, pop: MakePop, high: float, logged: bool) -> None:
    """Between 100 and 110 lx·s is within 0.07 stop and counts as their geometric mean; 100 to 200 is asked for again."""
    begin(session, "KEY")

    outcome = session.take(pop(100.0, clipped=True, exposure_bounds_lxs=(100.0, high)))

    assert (outcome.kind == OutcomeKind.LOGGED) == logged
    if logged:
        assert outcome.reading.exposure_lxs == pytest.approx(sqrt(100.0 * high))
        assert outcome.reading.u_rel == pytest.approx(10.0 / sqrt(12.0) / sqrt(100.0 * high), rel=1e-3)
        assert (outcome.reading.peak_lx, outcome.reading.t05_s, outcome.reading.clipped) == (None, None, False)
        assert outcome.reading.pops[0].clipped
        assert "peak beyond the range, bounded to ± 0.1: no t0.1" in outcome.message
        row = session.ratios().rows[0]
        assert (row.t01_s, "no t0.1" in row.reason) == (None, True)
        (found,) = (one for one in session.checks() if one.code == "beyond_range")
        assert (found.light, found.action.code) == ("KEY", "meter")
        assert "bounded" in found.text


def test_a_light_known_by_its_bounds_is_expected_beyond_that_range(session: Session, pop: MakePop) -> None:
    """A short flash that clipped on the sensitive range is not listened for there again: its pulse is as short as its peak says."""
    begin(session, "KEY")
    calibration = session.library.calibration(pop(1.0).calibration_id)
    session.take(pop(100.0, clipped=True, exposure_bounds_lxs=(100.0, 104.0), range_index=0))

    expected = expectation_of(session, session.request(session.light("KEY")))

    assert expected is not None
    assert expected.exposure_lxs / expected.pulse_s >= 0.99 * calibration.ranges[0].full_scale_lx


def test_a_distance_said_afterwards_supersedes_without_a_pop(session: Session, pop: MakePop) -> None:
    """It belongs to the last pop; waveform, light and time stay; a step back takes the distance, the next one the pop."""
    begin(session, "KEY", "FILL")
    session.take(pop(200.0))
    before = session.library.last_reading(session.setup.id)

    light = session.held(0.2)

    after = session.library.last_reading(session.setup.id)
    assert light.name == "KEY"
    assert (after.held_off_m, after.supersedes_id) == (0.2, before.id)
    assert after._replace(id="", supersedes_id=None, held_off_m=None) == before._replace(id="")
    assert session.walk.waiting.light_id == session.light("FILL").id
    assert session.walk.waiting.held_off_m is None
    assert session.undo().id == after.id
    assert session.library.readings(session.setup.id) == [before]
    # That no distance is given is said by the reading's own reason, behind it.
    assert str(session.restored) == "KEY: held off 20 cm is taken back"
    assert session.walk.waiting.light_id == session.light("FILL").id
    session.held(0.1)
    session.undo()
    session.undo()
    assert not session.restored
    assert session.library.readings(session.setup.id) == []
    assert session.walk.waiting.light_id == session.light("KEY").id


def test_the_distance_said_last_is_taken_back_wherever_it_was_said(session: Session, pop: MakePop) -> None:
    """Of the key at two points while the fill's pop is the last: both have what was said before, and the fill's pop stays."""
    key, fill = session.light("KEY"), session.light("FILL")
    session.begin([session.request(key, held_off_m=0.05), session.request(key, point="hair"), session.request(fill)])
    for exposure_lxs in (200.0, 100.0, 50.0):
        session.take(pop(exposure_lxs))
    before = session.library.readings(session.setup.id)
    session.held(0.2, key.id)
    session.undo()

    assert session.library.readings(session.setup.id) == before
    assert "as before: distance not given" in str(session.restored)
    session.undo()
    assert session.library.readings(session.setup.id) == before[:2]


def test_a_distance_that_was_put_right_is_taken_back_whole(session: Session, pop: MakePop) -> None:
    """Said three times of one pop, as a slider does that is let go and moved on: one step back; another light's stays."""
    begin(session, "KEY", "FILL")
    for exposure_lxs in (200.0, 50.0):
        session.take(pop(exposure_lxs))
    key, fill = session.library.readings(session.setup.id)
    session.held(0.1, key.light_id)
    for held_off_m in (0.05, None, 0.2):
        session.held(held_off_m, fill.light_id)
    session.undo()

    assert str(session.restored) == "FILL: held off 20 cm is taken back"
    assert [(r.light_id, r.held_off_m) for r in session.library.readings(session.setup.id)] == [
        (fill.light_id, None), (key.light_id, 0.1)
    ]
    session.undo()
    assert session.library.readings(session.setup.id) == [key, fill]


def test_a_distance_taken_back_between_two_pops_of_one_reading_is_not_the_next_ones(session: Session, pop: MakePop) -> None:
    """Said after the first of two pops it went to the second, too: taken back, the reading goes on as it was begun."""
    begin(session, "KEY", pops=2)
    session.take(pop(190.0))
    session.held(0.1)
    session.undo()
    reading = session.take(pop(200.0)).reading

    assert (len(reading.pops), reading.held_off_m) == (2, None)


def test_a_distance_taken_back_that_had_cured_a_retake_is_not_the_next_pops(session: Session, pop: MakePop) -> None:
    """Distance and pop are taken back: the light is held off as it was asked for at first."""
    begin(session, "KEY", held_off_m=0.75)
    session.take(pop(200.0))
    session.held(0.0)
    assert session.walk.done
    session.undo()
    session.undo()

    assert session.take(pop(200.0)).reading.held_off_m == 0.75


def test_a_distance_belongs_to_the_first_pop_before_it_came(session: Session, pop: MakePop) -> None:
    """Nothing was metered yet: the light that is waited for is held off so far."""
    begin(session, "KEY")

    assert session.held(0.15).name == "KEY"
    assert session.take(pop(200.0)).reading.held_off_m == 0.15


def test_a_distance_can_be_said_of_a_named_light_at_any_time(session: Session, pop: MakePop) -> None:
    """Also in a later session and in place of another distance; what cannot be is refused, what is not there too."""
    begin(session, "KEY", "FILL", held_off_m=0.0)
    session.take(pop(200.0))
    session.take(pop(50.0))
    later = Session(session.library, now=session.now)

    later.held(0.3, later.light("KEY").id)

    readings = {r.light_id: r for r in session.library.readings(session.setup.id)}
    assert readings[session.light("KEY").id].held_off_m == 0.3
    assert readings[session.light("FILL").id].held_off_m == 0.0
    with pytest.raises(GeometryError, match=r"only 1\.2 m away"):
        later.held(1.3, later.light("KEY").id)
    with pytest.raises(UsageError, match="HAIR"):
        later.held(0.1, later.light("HAIR").id)
    with pytest.raises(UsageError, match="name the light"):
        later.held(0.1)


def test_a_distance_in_the_middle_of_several_pops_is_of_them_all(session: Session, pop: MakePop) -> None:
    """Said after the first of three pops it is in the one reading that they make."""
    begin(session, "KEY", pops=3)
    session.take(pop(190.0))
    session.held(0.1)
    session.take(pop(200.0))
    session.take(pop(210.0))

    (reading,) = session.library.readings(session.setup.id)
    assert (len(reading.pops), reading.held_off_m) == (3, 0.1)


def test_of_several_pops_the_last_one_is_taken_back(session: Session, pop: MakePop) -> None:
    """The third of three pops is fired anew, and so is the second in the middle of them: the others stay."""
    begin(session, "KEY", "FILL", pops=3)
    session.take(pop(190.0))
    session.take(pop(500.0))
    session.undo()
    session.take(pop(200.0))
    session.take(pop(500.0))
    session.undo()

    outcome = session.take(pop(210.0))

    assert [one.exposure_lxs for one in outcome.reading.pops] == [190.0, 200.0, 210.0]
    assert outcome.waiting.light_id == session.light("FILL").id


def test_pops_of_a_reflector_from_before_its_source_was_turned_are_no_part_of_it(session: Session, pop: MakePop) -> None:
    """Turned between the two pops with the card: the second is the first of a new reading."""
    key = session.light("KEY")
    card = Light(new_id(), session.setup.id, "CARD", "fill", order=9, source_light_id=key.id)
    session.add_light(card, Placement(new_id(), card.id, 0.0, "rectangle", 0.8, 1.2, 0.8, 0.02, -60.0, 0.0))
    begin(session, "CARD", pops=2)
    session.take(pop(300.0))
    session.move(key, power_text="1/8", power_stops=-3.0)
    for exposure_lxs in (150.0, 151.0):
        reading = session.take(pop(exposure_lxs)).reading

    assert [one.exposure_lxs for one in reading.pops] == [150.0, 151.0]


def test_after_an_undo_the_next_pop_begins_a_new_reading(session: Session, pop: MakePop) -> None:
    """The first of two pops is taken back: the next one is the first again and does not join it."""
    begin(session, "KEY", pops=2)
    session.take(pop(100.0))
    session.undo()

    outcome = session.take(pop(200.0))

    assert (len(outcome.reading.pops), outcome.reading.exposure_lxs) == (1, 200.0)


def test_pops_join_only_the_reading_in_progress(session: Session, pop: MakePop) -> None:
    """A second walk of two pops begins a reading of its own beside a finished one."""
    for level in (100.0, 200.0):
        begin(session, "KEY", pops=2)
        session.take(pop(level))
        outcome = session.take(pop(level))

    assert (len(outcome.reading.pops), outcome.reading.exposure_lxs) == (2, 200.0)


def test_a_reading_keeps_what_the_measurement_said(session: Session, pop: MakePop) -> None:
    """Range, room light, both durations each in its place, colour and the set's own clock; a typed distance wins."""
    begin(session, "KEY", "FILL")
    session.held(0.1)
    said = {"range_index": 1, "ambient_lx": 33.0, "t05_s": 4e-4, "t01_s": 2e-3, "duv": 0.004, "cct_k": 5400.0, "held_off_m": 0.3}

    typed = session.take(pop(200.0, **said)).reading
    measured = session.take(pop(50.0, **said)).reading

    assert (typed.range_index, typed.ambient_lx, typed.t05_s, typed.t01_s, typed.duv) == (1, 33.0, 4e-4, 2e-3, 0.004)
    assert typed.taken_at_s == 1_000.0
    assert (typed.held_off_m, measured.held_off_m) == (0.1, 0.3)
    assert typed.pops[0].range_index == 1


def test_questions_of_the_whole_set_stand_side_by_side(session: Session, pop: MakePop) -> None:
    """Room light twice, all at once, all but one, steady and flash, another point: none replaces another."""
    key, fill = session.light("KEY"), session.light("FILL")
    begin(session, "KEY")
    session.take(pop(200.0))
    lit = (key.id, fill.id)
    steady = {"kind": "steady", "illuminance_lx": 800.0}
    for request, changes in (
        (Request(None, Purpose.ROOM, Kind.STEADY, note="lamps on"), steady),
        (Request(None, Purpose.ROOM, Kind.STEADY, note="lamps off"), steady),
        (Request(None, Purpose.TOGETHER, lit=lit), {}),
        (Request(None, Purpose.TOGETHER, lit=lit[:1]), {}),
        (session.request(key, kind=Kind.STEADY), steady),
        (session.request(key, point="shoulder"), {}),
    ):
        session.begin([request])
        assert session.take(pop(None if changes else 250.0, peak_lx=None, **changes)).kind == OutcomeKind.LOGGED

    assert len(session.library.readings(session.setup.id)) == 7
    session.begin([Request(None, Purpose.TOGETHER, lit=lit)])
    session.take(pop(260.0))
    assert len(session.library.readings(session.setup.id)) == 7


def test_the_walk_is_remembered_when_it_begins_and_the_stray_limit_is_the_settings(session: Session, pop: MakePop) -> None:
    """A kill before the first pop loses no walk; a stray is what the library's own limit says."""
    begin(session, "KEY", "FILL")
    assert Session(session.library).resume()

    session.library.set_setting("min_gap_s", 5.0)
    session.take(pop(200.0, at_s=10.0))
    assert session.take(pop(50.0, at_s=14.0)).code == OutcomeCode.STRAY
    assert session.take(pop(50.0, at_s=16.0)).code == OutcomeCode.LOGGED


def test_what_has_no_valid_reading_is_pending(session: Session, pop: MakePop) -> None:
    """Never metered, moved since, or to be taken again; a good one is not."""
    begin(session, "KEY", "FILL", "HAIR", held_off_m=0.0)
    session.take(pop(200.0))
    session.take(pop(50.0))
    assert [one.name for one in session.pending()] == ["HAIR"]

    session.move(session.light("FILL"), power_text="1/8", power_stops=-3.0)
    session.held(1.0, session.light("KEY").id)  # more than half of the light's distance: nobody can correct that

    assert [one.name for one in session.pending()] == ["KEY", "FILL", "HAIR"]


# -- what is expected of a pop ------------------------------------------------------------------------------------


def metered(session: Session, pop: MakePop) -> None:
    """Key, fill and hair light, with a peak of 2,000 times the exposure and a t0.1 of a millisecond."""
    begin(session, "KEY", "FILL", "HAIR")
    for level in (200.0, 50.0, 100.0):
        session.take(pop(level))


def test_a_copy_expects_what_its_original_read(session: Session, pop: MakePop) -> None:
    """Every light of a copied set-up, moved by what was changed; pulse and duration are the head's last ones."""
    metered(session, pop)
    copy = copied_setup(session.library, session.setup.id, "Potter 2")
    again = Session(session.library, copy.id, now=session.now)
    again.move(again.light("FILL"), power_text="1/2", power_stops=-1.0)
    begin(again, "KEY", "FILL")

    key = again.expected()
    again.skip()
    fill = again.expected()

    assert (key.exposure_lxs, key.pulse_s, key.t01_s) == (pytest.approx(200.0), pytest.approx(1 / 2000), 0.001)
    assert fill.exposure_lxs == pytest.approx(100.0)


def test_a_head_is_expected_to_give_what_it_gave_in_another_set(session: Session, library: Library, pop: MakePop) -> None:
    """Same head, same modifier, by dial and distance; a light of which nothing is known is not guessed at."""
    library.revise_light(session.light("KEY")._replace(fixture="A400", modifier="octa"))
    metered(session, pop)
    other = Setup(new_id(), "Bowls", 0.0)
    library.add_setup(other)
    new = Session(library, other.id, now=session.now)
    for name, fixture in (("MAIN", "A400"), ("SIDE", "")):
        light = Light(new_id(), other.id, name, "key", order=len(new.lights()), fixture=fixture, modifier="octa")
        place = Placement(new_id(), light.id, 0.0, "disk", 0.9, None, 1.2, power_text="1/8", power_stops=-3.0)
        new.add_light(light, place._replace(distance_m=None) if name == "SIDE" else place)
    begin(new, "MAIN", "SIDE")

    main = new.expected()
    new.skip()

    assert log2(main.exposure_lxs / 200.0) == pytest.approx(-1.0)
    assert new.expected() is None


def test_all_at_once_is_expected_to_give_the_sum(session: Session, pop: MakePop) -> None:
    """What the key and the fill gave, 250 lx·s, at the peak of both; unknown as long as one of them is."""
    begin(session, "KEY")
    session.take(pop(200.0))
    session.begin([session.request_together([session.light("KEY"), session.light("FILL")])])
    rough = session.expected()
    metered(session, pop)
    session.begin([session.request_together()])

    found = session.expected()

    assert rough is not None  # the fill by dial and distance from the key
    assert found.exposure_lxs == pytest.approx(250.0)
    assert found.pulse_s == pytest.approx(1 / 2000)


def test_a_contradicted_pop_chooses_no_range_for_the_retake(session: Session, pop: MakePop) -> None:
    """The key's pop was the weak hair light's, perhaps: the range for that would be deaf to the key's own, which is 200 lx·s."""
    metered(session, pop)
    key = session.light("KEY")
    session.move(key, power_text="1/8", power_stops=-3.0)
    begin(session, "KEY")
    outcome = session.take(pop(4.0))
    assert outcome.state.judged.why == Why.CONTRADICTED
    assert outcome.waiting is not None, "one more pop may cure it: its light is waited for, once"
    assert outcome.waiting.light_id == key.id

    expected = expectation_of(session, session.request(key))

    # By dial and distance from the fill: roughly what it should be, and nothing of the odd pop.
    assert expected is not None
    assert 25.0 < expected.exposure_lxs < 100.0
    assert expected.pulse_s is None


def test_an_error_while_storing_logs_nothing(session: Session, pop: MakePop, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk is full: the error is raised, the light still waits, and the same pop may come again."""
    begin(session, "KEY", "FILL")

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(type(session.library), "add_reading", full)
        with pytest.raises(OSError, match="No space left"):
            session.take(pop(200.0))

    assert session.walk.waiting.light_id == session.light("KEY").id
    assert session.take(pop(200.0)).kind == OutcomeKind.LOGGED


def test_a_pop_that_was_spoken_of_a_thousand_times_can_be_given_away(session: Session, pop: MakePop) -> None:
    """A distance that came in 1,200 steps, as a file from elsewhere may have it, ends in no error of Python's own."""
    begin(session, "KEY")
    reading = session.take(pop(10.0)).reading
    assert reading is not None
    with session.library.db.write():
        for step in range(1200):
            reading = session.library.restate_reading(reading.id, held_off_m=0.01 + step % 2 * 0.01)

    given, loser = session.reassign("HAIR")

    assert (given.light_id, loser) == (session.light("HAIR").id, session.light("KEY"))
