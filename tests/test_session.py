"""The session: a measurement becomes a reading of the light that is waited for, or it is said why not."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count

import pytest

from meterlink.checks.finders import findings
from meterlink.errors import NotInLibrary, UsageError
from meterlink.judging.aim import carried_to_camera
from meterlink.judging.repeats import outlier_note
from meterlink.library.store import Library
from meterlink.metering.session import Session
from meterlink.metering.walk import Request
from meterlink.records import Evidence, Light, Measurement, Placement, new_id

MakePop = Callable[..., Measurement]


def requests(session: Session, *names: str, **how: object) -> list[Request]:
    """Requests for lights by name, in this order."""
    lights = [session.light(name) for name in names]
    return [Request(one.id, point=one.point, **how) for one in lights]


def row(session: Session, name: str) -> object:
    """The light's row in the ratio table."""
    return next(r for r in session.ratios().rows if r.light == name)


def test_pops_go_to_the_lights_in_order_without_a_key_press(session: Session, pop: MakePop) -> None:
    """Each pop is logged to the waiting light and the next one comes up."""
    session.begin(requests(session, "KEY", "FILL", "HAIR", held_off_m=0.0))

    outcomes = [session.take(pop(h)) for h in (200.0, 50.0, 100.0)]

    assert [o.kind for o in outcomes] == ["logged"] * 3
    assert [o.light.name for o in outcomes] == ["KEY", "FILL", "HAIR"]
    assert session.walk.done
    assert [round(r.from_key_stops, 3) for r in session.ratios().rows] == [0.0, -2.0, -1.0]


def test_a_logged_reading_is_on_disk_before_the_answer(session: Session, pop: MakePop) -> None:
    """Another process sees the reading as soon as the outcome says ``logged``."""
    session.begin(requests(session, "KEY"))

    session.take(pop(200.0))

    with Library.open(session.library.path) as second:
        assert [r.exposure_lxs for r in second.readings(session.setup.id)] == [200.0]


def test_a_clipped_pop_is_asked_for_again_without_moving_on(session: Session, pop: MakePop) -> None:
    """A pop beyond the range is not logged and the same light is waited for."""
    session.begin(requests(session, "KEY", "FILL"))

    outcome = session.take(pop(200.0, clipped=True))

    assert outcome.kind == "again"
    assert "KEY" in outcome.message
    assert session.walk.waiting.light_id == session.light("KEY").id
    assert session.library.readings(session.setup.id) == []


def test_a_stray_that_clips_is_still_a_stray(session: Session, pop: MakePop) -> None:
    """Nobody is asked for one more pop because somebody else's flash went off."""
    session.begin(requests(session, "KEY", "FILL"))
    session.take(pop(200.0, at_s=10.0))

    stray = session.take(pop(200.0, at_s=10.3, clipped=True))

    assert stray.kind == "ignored"
    assert "stray" in stray.message


@pytest.mark.parametrize(("u_rel", "kind"), [(0.045, "logged"), (0.05, "again"), (0.0, "again")])
def test_a_pop_small_for_its_range_counts_while_its_noise_does_not_matter(
    session: Session, pop: MakePop, u_rel: float, kind: str
) -> None:
    """Half the variance of a good reading's 0.2 stop (k=2) may be noise: 0.045 is 0.13 stop; none at all is not believed."""
    session.begin(requests(session, "KEY", "FILL"))

    small = pop(200.0)._replace(too_dim=True, u_rel=u_rel, note="too small: now on the dim range", evidence=Evidence(next_range=1))
    outcome = session.take(small)

    assert outcome.kind == kind
    assert "too small" not in (outcome.message if kind == "logged" else "")


def test_a_second_pop_too_soon_is_a_stray(session: Session, pop: MakePop) -> None:
    """A pop within the minimum gap of the last does not shift everything after it."""
    session.begin(requests(session, "KEY", "FILL"))
    session.take(pop(200.0, at_s=10.0))

    stray = session.take(pop(200.0, at_s=10.3))

    assert stray.kind == "ignored"
    assert session.walk.waiting.light_id == session.light("FILL").id


def test_a_damaged_pop_is_asked_for_again(session: Session, pop: MakePop) -> None:
    """A pop whose waveform was lost on the way is said and not believed."""
    session.begin(requests(session, "KEY"))

    outcome = session.take(pop(0.0, incomplete=True))

    assert outcome.kind == "again"
    assert "damaged" in outcome.message


def test_a_pop_with_nothing_waited_for_is_not_logged(session: Session, pop: MakePop) -> None:
    """After the last light further pops are ignored and said."""
    assert session.take(pop(100.0)).kind == "ignored"


def test_undo_takes_the_last_reading_back_and_waits_for_its_light(session: Session, pop: MakePop) -> None:
    """After undo the light of the reading is waited for again."""
    session.begin(requests(session, "KEY", "FILL"))
    session.take(pop(200.0))

    session.undo()

    assert session.walk.waiting.light_id == session.light("KEY").id
    assert row(session, "KEY").as_read_f is None


def test_undo_goes_one_step_back_in_the_walk_each_time(session: Session, pop: MakePop) -> None:
    """The key at the face, the fill, the key at the shoulder: three steps forth, and the same three back."""
    key, fill = session.light("KEY"), session.light("FILL")
    session.begin([session.request(key), session.request(fill), session.request(key, point="shoulder")])
    for exposure_lxs in (200.0, 50.0, 180.0):
        session.take(pop(exposure_lxs))
    assert session.walk.done

    steps = []
    for _ in range(3):
        session.undo()
        assert session.walk.waiting is not None
        steps.append((session.walk.waiting.light_id, session.walk.waiting.point))

    assert steps == [(key.id, "shoulder"), (fill.id, "face"), (key.id, "face")]
    assert session.library.readings(session.setup.id) == []


def test_undo_of_a_light_metered_again_leaves_what_it_read_before(session: Session, pop: MakePop) -> None:
    """Only the second pop of the key is taken back: the first one stands again."""
    key = session.light("KEY")
    for exposure_lxs in (200.0, 180.0):
        session.begin([session.request(key)])
        session.take(pop(exposure_lxs))

    session.undo()

    assert [r.exposure_lxs for r in session.known.records.effective] == [200.0]


def test_undo_without_a_reading_says_so(session: Session) -> None:
    """There is nothing to take back in a fresh set."""
    with pytest.raises(NotInLibrary, match="no reading to take back"):
        session.undo()


def test_reassign_gives_the_pop_to_its_light_and_waits_for_the_other(session: Session, pop: MakePop) -> None:
    """A pop of the wrong head is given to its light; the one that was asked for is waited for again."""
    session.begin(requests(session, "KEY", "FILL", "HAIR"))
    session.take(pop(100.0))

    new, loser = session.reassign("HAIR")

    assert (new.exposure_lxs, loser.name) == (100.0, "KEY")
    assert session.walk.waiting.light_id == session.light("KEY").id
    assert [r.light_id for r in session.walk.requests] == [session.light("KEY").id, session.light("FILL").id]
    assert row(session, "HAIR").as_read_f is not None
    assert row(session, "KEY").as_read_f is None


def test_a_retake_given_to_another_light_gives_the_first_one_its_reading_back(session: Session, pop: MakePop) -> None:
    """The key was metered, and what was taken for its retake was the hair light's: the key's own reading counts again."""
    session.begin(requests(session, "KEY", "KEY"))
    session.take(pop(200.0))
    session.take(pop(90.0))

    session.reassign("HAIR")

    assert {r.light_id: r.exposure_lxs for r in session.view().readings} == {
        session.light("KEY").id: 200.0,
        session.light("HAIR").id: 90.0,
    }


def test_reassign_to_the_same_light_is_refused(session: Session, pop: MakePop) -> None:
    """Giving a reading to the light that has it is a slip."""
    session.begin(requests(session, "KEY"))
    session.take(pop(100.0))

    with pytest.raises(UsageError, match="already"):
        session.reassign("KEY")


def test_the_pop_that_came_last_is_given_and_not_the_one_that_was_last_spoken_of(session: Session, pop: MakePop) -> None:
    """A distance said of the key afterwards is a newer record of an older pop: the last pop is still the fill's."""
    session.begin(requests(session, "KEY", "FILL"))
    session.take(pop(200.0))
    session.take(pop(90.0))
    session.held(0.1, session.light("KEY").id)

    new, loser = session.reassign("HAIR")

    assert (new.exposure_lxs, loser.name) == (90.0, "FILL")


def test_a_pop_is_given_only_to_a_light_that_it_can_be_a_reading_of(session: Session, pop: MakePop) -> None:
    """One pop alone is no reading of a reflector, and one with the reflector in place none of a lamp alone: nothing is changed."""
    reflector(session)
    session.begin(requests(session, "KEY", "CARD", held_off_m=0.0))
    session.take(pop(200.0))
    with pytest.raises(UsageError, match="two pops: meterlink meter CARD"):
        session.reassign("CARD")
    session.take(pop(250.0))
    with pytest.raises(UsageError, match="not fired by one light alone"):
        session.reassign("HAIR")

    assert [(r.light_id, r.purpose) for r in session.view().readings] == [
        (session.light("KEY").id, "alone"), (session.light("CARD").id, "with"),
    ]


def test_a_moved_light_has_no_number_until_it_is_metered(session: Session, pop: MakePop) -> None:
    """After a change of power the old reading is named as stale and never shown as current."""
    session.begin(requests(session, "KEY", "FILL"))
    session.take(pop(200.0))
    session.take(pop(50.0))

    session.move(session.light("FILL"), power_text="1/8", power_stops=-3.0)

    fill = row(session, "FILL")
    assert (fill.as_read_f, fill.corrected_f, fill.from_key_stops) == (None, None, None)
    assert fill.stale
    assert "meter it again" in fill.reason


def test_metering_a_light_again_replaces_its_reading(session: Session, pop: MakePop) -> None:
    """A retake supersedes: the table shows the newer value, the older one is kept in the library."""
    session.begin(requests(session, "KEY", "KEY"))
    session.take(pop(200.0))
    session.take(pop(100.0))

    assert len(session.library.readings(session.setup.id)) == 1
    assert len(session.library.all_readings(session.setup.id)) == 2
    assert session.view().key.reading.exposure_lxs == 100.0


def test_several_pops_are_averaged_as_exposures(session: Session, pop: MakePop) -> None:
    """Three pops of one request make one reading with the mean exposure, and the walk moves on after the third."""
    session.begin(requests(session, "KEY", "FILL", pops=3))

    for h in (190.0, 200.0, 210.0):
        outcome = session.take(pop(h))

    reading = session.view().key.reading
    assert reading.exposure_lxs == pytest.approx(200.0)
    assert len(reading.pops) == 3
    assert outcome.waiting.light_id == session.light("FILL").id


def test_after_an_undo_the_next_pop_joins_no_older_reading(session: Session, pop: MakePop) -> None:
    """One of two pops taken back: what the light gave in an earlier walk is no part of the reading that begins then."""
    session.begin(requests(session, "KEY"))
    session.take(pop(150.0))
    session.begin(requests(session, "KEY", pops=2))
    session.take(pop(200.0))
    session.undo()

    outcome = session.take(pop(210.0))

    assert [one.exposure_lxs for one in outcome.reading.pops] == [210.0]


def test_a_pop_that_could_not_be_stored_leaves_the_walk_as_it_was(
    session: Session, pop: MakePop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk is full for one pop: the same light waits, a distance said then is that of the pop before, the next pop joins it."""
    session.begin(requests(session, "KEY", "FILL", pops=2))
    session.take(pop(200.0))

    def full() -> None:
        raise OSError("disk full")

    with monkeypatch.context() as broken:
        broken.setattr(session, "_remember_walk", full)
        with pytest.raises(OSError, match="disk full"):
            session.take(pop(190.0))

    assert session.held(0.1).name == "KEY"
    outcome = session.take(pop(202.0))
    assert [one.exposure_lxs for one in outcome.reading.pops] == [200.0, 202.0]
    assert outcome.waiting.light_id == session.light("FILL").id


def test_a_light_whose_own_name_has_an_at_sign_is_found_by_it(session: Session) -> None:
    """``HAIR@20cm`` may be a light's name: it is taken as that first, and a distance goes behind it."""
    light = session.light("HAIR")
    session.library.revise_light(light._replace(name="HAIR@20cm"))

    assert [(one.id, held) for one, held in map(session.named_light, ("hair@20cm", "HAIR@20cm@10cm", "KEY@10cm"))] == [
        (light.id, None), (light.id, 0.1), (session.light("KEY").id, 0.1),
    ]  # fmt: skip


def test_a_measured_distance_lies_toward_what_the_dome_looks_at(session: Session, pop: MakePop) -> None:
    """The range finder looks back along the dome's axis: at the camera that is toward the camera; a typed one is as it was said."""
    key, fill = requests(session, "KEY", "FILL", aim="camera")
    session.begin([key, fill._replace(held_off_m=0.1)])

    taken = [session.take(pop(value)._replace(held_off_m=0.2, u_held_off_m=0.01)) for value in (200.0, 60.0)]

    assert [(o.reading.held_off_m, o.reading.held_off_toward) for o in taken] == [(0.2, "camera"), (0.1, "light")]


def test_a_pop_that_stands_apart_is_named(session: Session, pop: MakePop) -> None:
    """One pop half a stop off the others is named in the reading, not dropped."""
    session.begin(requests(session, "KEY", pops=3))

    for h in (200.0, 200.0, 140.0):
        session.take(pop(h))

    assert "pop 3 of 3 is 0.5 stop under" in str(outlier_note(session.view().key.reading.pops))


def test_a_walk_comes_back_after_the_program_was_killed(session: Session, pop: MakePop) -> None:
    """A new session on the same library waits for the light that the old one waited for."""
    session.begin(requests(session, "KEY", "FILL", "HAIR"))
    session.take(pop(200.0))

    with Library.open(session.library.path) as second:
        again = Session(second)
        assert again.resume()
        assert again.walk.waiting.light_id == session.light("FILL").id


def reflector(session: Session) -> Light:
    """Add a passive reflector fed by the key."""
    card = Light(new_id(), session.setup.id, "CARD", "fill", order=9, source_light_id=session.light("KEY").id)
    placement = Placement(new_id(), card.id, 0.0, "rectangle", 0.8, 1.2, 0.8, 0.02, -60.0, 0.0)
    return session.add_light(card, placement)


def test_a_reflector_is_the_difference_of_two_pops(session: Session, pop: MakePop) -> None:
    """With minus without its source's own light is what the reflector adds."""
    reflector(session)
    session.begin(requests(session, "CARD", held_off_m=0.0))

    first, second = session.take(pop(250.0)), session.take(pop(200.0))

    assert [first.reading.purpose, second.reading.purpose] == ["with", "without"]
    assert session.view().state(session.light("CARD").id).value == pytest.approx(50.0, rel=0.03)


def test_a_reflector_is_stale_when_its_source_moves(session: Session, pop: MakePop) -> None:
    """Re-powering the source makes the reflector's reading stale as well."""
    reflector(session)
    session.begin(requests(session, "CARD", held_off_m=0.0))
    session.take(pop(250.0))
    session.take(pop(200.0))

    session.move(session.light("KEY"), power_text="1/8", power_stops=-3.0)

    assert row(session, "CARD").stale
    assert row(session, "CARD").as_read_f is None


def test_readings_that_fit_each_others_light_are_said_to_look_swapped(session: Session, pop: MakePop) -> None:
    """When each of two pops fits what the other light gave before, a warning names both."""
    session.begin(requests(session, "KEY", "HAIR"))
    session.take(pop(200.0))
    session.take(pop(50.0))
    session.begin(requests(session, "KEY", "HAIR"))
    session.take(pop(50.0))

    outcome = session.take(pop(200.0))

    assert "swapped" in outcome.warnings[0]
    assert "KEY and HAIR" in outcome.warnings[0]


def test_a_light_that_reads_otherwise_as_it_stands_is_said_to(session: Session, pop: MakePop) -> None:
    """A stop more where nothing was said to have changed: the dial is asked after; a tenth, or a turn that was told, is no news."""
    said = []
    for power, value in (("1/4", 100.0), ("1/4", 107.0), ("1/4", 200.0), ("1/8", 50.0)):
        key = session.light("KEY")
        if session.placement(key.id).power_text != power:
            session.move(key, power_text=power, power_stops={"1/4": -2.0, "1/8": -3.0}[power])
        session.begin(requests(session, "KEY"))
        said.append(session.take(pop(value)).warnings)

    assert [len(one) for one in said] == [0, 0, 1, 0]
    assert said[2][0].startswith("KEY reads +0.9 stop against its last reading, and stands as it stood")
    assert "meterlink light move KEY --power 1/2 --as-metered" in said[2][0]


def test_a_light_read_elsewhere_is_set_against_its_own_point(session: Session, pop: MakePop) -> None:
    """Hands and feet: the pop says by how much they get less than the face; without a reading of the face only what was read."""
    key = session.light("KEY")
    said = []
    for point, value in (("feet", 50.0), ("face", 100.0), ("feet", 50.0)):
        session.begin([Request(key.id, point=point, held_off_m=0.0)])
        said.append(str(session.take(pop(value)).said))

    assert said[0].endswith("at the feet")
    assert said[2] == said[0] + ", −1.0 stop against the face"


def test_a_retake_may_read_otherwise(session: Session, pop: MakePop) -> None:
    """What was held off too far to count is no measure of the pop that takes its place."""
    session.begin([requests(session, "KEY")[0]._replace(held_off_m=0.55)])
    assert session.take(pop(400.0)).state.judged.verdict == "retake"
    session.begin(requests(session, "KEY"))

    assert session.take(pop(100.0)).warnings == ()


def test_taking_back_is_named_as_it_is_typed_there(session: Session, pop: MakePop) -> None:
    """While the walk waits on, u takes a pop back; after its last pop nobody listens any more, and the command does."""
    said = []
    for names in (("KEY", "FILL", "HAIR"), ("KEY", "FILL")):
        session.begin(requests(session, *names))
        session.take(pop(50.0))
        said += session.take(pop(200.0)).warnings

    assert ["type u, twice" in str(one) for one in said] == [True, False]
    assert "meterlink undo, twice" in str(said[1])


def test_a_fill_above_the_key_is_said_to_look_swapped(session: Session, pop: MakePop) -> None:
    """Without any history the roles tell: a fill does not outshine its key."""
    session.begin(requests(session, "KEY", "FILL"))
    session.take(pop(50.0))

    assert "fill reads more than the key" in session.take(pop(200.0)).warnings[0]


def test_the_range_is_chosen_from_what_the_light_gave_before(session: Session, pop: MakePop) -> None:
    """What the next pop should give is the light's last reading, moved by the stops that its power was changed."""
    session.begin(requests(session, "KEY"))
    assert session.expected() is None
    session.take(pop(200.0))
    session.move(session.light("KEY"), power_text="1/8", power_stops=-3.0)
    session.begin(requests(session, "KEY"))

    assert session.expected().exposure_lxs == pytest.approx(100.0)


def test_a_card_that_adds_nothing_is_said_at_once(session: Session, pop: MakePop) -> None:
    """A reflector without effect is a retake with advice of its own, in the table and when it is metered."""
    reflector(session)
    session.begin(requests(session, "CARD", held_off_m=0.0))
    session.take(pop(200.0))

    outcome = session.take(pop(200.0))

    assert "bring it nearer" in outcome.message
    assert row(session, "CARD").verdict == "retake"
    assert "bring it nearer" in row(session, "CARD").reason


def test_nothing_is_said_of_a_reflector_between_its_two_pops(session: Session, pop: MakePop) -> None:
    """The first pop is not held against an older one of its source, nor against the pop without it of an earlier walk."""
    reflector(session)
    session.begin(requests(session, "KEY", "CARD", held_off_m=0.0))
    session.take(pop(260.0))
    first = session.take(pop(250.0))
    session.take(pop(200.0))
    session.begin(requests(session, "CARD", held_off_m=0.0))
    again, last = session.take(pop(240.0)), session.take(pop(200.0))

    assert all("add" not in one.message for one in (first, again))
    assert "it adds" in last.message


def test_there_are_no_shares_while_a_light_of_the_face_has_no_reading(session: Session, pop: MakePop) -> None:
    """A share of the light on the face needs all of that light."""
    session.begin(requests(session, "KEY", "FILL", held_off_m=0.0))
    session.take(pop(200.0))
    session.take(pop(50.0))
    assert row(session, "FILL").share == pytest.approx(0.2, abs=0.03)

    session.move(session.light("KEY"), power_text="1/8", power_stops=-3.0)

    assert row(session, "FILL").share is None
    assert any("no shares until" in str(note) for note in session.ratios().notes)


def test_what_a_never_metered_light_may_give_is_guessed_from_another(session: Session, pop: MakePop) -> None:
    """Only for the sensor's range: dial against dial, distance squared."""
    session.begin(requests(session, "KEY", "FILL", held_off_m=0.0))
    session.take(pop(200.0))

    assert session.expected().exposure_lxs == pytest.approx(200.0 * (1.2 / 1.5) ** 2)


def fire_together(session: Session, pop: MakePop, key_lxs: float) -> None:
    """Meter the fill twice, the key once, then both at once; in truth the key gives 200 lx·s and the fill 120."""
    session.now = map(float, count(1_000)).__next__
    session.begin(requests(session, "FILL", "FILL", "KEY", held_off_m=0.0))
    for value in (120.0, 120.0, key_lxs):
        session.take(pop(value))
    fire_both(session, pop, 200.0, 120.0)


def fire_both(session: Session, pop: MakePop, key_lxs: float, fill_lxs: float) -> None:
    """Fire key and fill at once, which give so much."""
    view = session.view()
    pair = [(view.state(session.light(name).id), true) for name, true in (("KEY", key_lxs), ("FILL", fill_lxs))]
    total = sum(true * 2.0 ** carried_to_camera(s.reading, s.placement).stops for s, true in pair)
    lit = tuple(s.light.id for s, _ in pair)
    session.begin([Request(None, "together", aim="camera", held_off_m=0.0, lit=lit)])
    session.take(pop(total))


def test_a_sum_that_fits_leaves_the_table_as_it_is(session: Session, pop: MakePop) -> None:
    """All lights together agree with the sum of each: nothing is contradicted."""
    fire_together(session, pop, 203.0)

    assert all("contradicted" not in r.reason for r in session.ratios().rows)


def test_a_sum_that_does_not_fit_makes_a_retake_in_the_table(session: Session, pop: MakePop) -> None:
    """A key that read a stop and a half high is named, against a fill that read the same twice, and is a retake."""
    fire_together(session, pop, 200.0 * 2.0**1.5)

    key = row(session, "KEY")
    assert key.verdict == "retake"
    assert "contradicted by the pop of all lights together" in key.reason
    assert "fire it once more" in key.reason
    assert row(session, "FILL").verdict != "retake"
    assert session.checks()[0].light == "KEY"


def test_pops_of_other_lights_together_stand_side_by_side(session: Session, pop: MakePop) -> None:
    """All lights, then all but one: two questions, and neither answer replaces the other; the same lights again do replace."""
    fire_together(session, pop, 200.0)
    both = next(r for r in session.known.records.effective if r.purpose == "together")
    for lit in (both.lit[:1], both.lit):
        session.begin([Request(None, "together", aim="camera", held_off_m=0.0, lit=lit)])
        session.take(pop(200.0))

    together = [r for r in session.known.records.effective if r.purpose == "together"]
    assert [r.lit for r in together] == [both.lit[:1], both.lit]
    assert together[1].supersedes_id == both.id


def test_a_reading_that_was_contradicted_teaches_its_head_nothing(session: Session, pop: MakePop) -> None:
    """Fill and key are turned after the pop of both spoke against the key: the key's next pop is held against no wrong one."""
    fire_together(session, pop, 200.0 * 2.0**1.5)
    for name in ("FILL", "KEY"):
        session.move(session.light(name), power_text="1/8", power_stops=-3.0)
    fill, key = requests(session, "FILL", "KEY", held_off_m=0.0)
    session.begin([key, fill])
    session.take(pop(100.0))
    session.take(pop(60.0))

    assert {one.light.id for one in session.view().history if one.placement.power_stops == -2.0} == {fill.light_id}
    assert row(session, "KEY").verdict == "good"
    assert session.view().predictions.keys() == {fill.light_id}


def test_lights_that_were_called_back_one_after_the_other_are_not_taken_for_swapped(session: Session, pop: MakePop) -> None:
    """Key too low and fill too high: the pop of both calls for one and then for the other, and both are right then."""
    session.now = map(float, count(1_000)).__next__
    session.begin(requests(session, "KEY", "FILL", held_off_m=0.0))
    session.take(pop(117.0))
    session.take(pop(175.0))
    fire_both(session, pop, 268.0, 126.0)
    called: list[str] = []
    while session.view().blamed is not None and len(called) < 4:
        called.append(session.by_id[session.view().blamed.light_id].name)
        session.begin(requests(session, called[-1], held_off_m=0.0))
        outcome = session.take(pop({"KEY": 262.0, "FILL": 127.0}[called[-1]]))

    assert called == ["KEY", "FILL"]
    assert session.view().swap is None
    assert not outcome.cautions


@pytest.mark.parametrize("turned", [False, True])
def test_nor_does_it_teach_its_head_in_another_set(session: Session, pop: MakePop, turned: bool) -> None:
    """Key and fill stand in a copy of the set, with the same heads: what the first set spoke against is not expected there."""
    for name in ("FILL", "KEY"):
        session.library.revise_light(session.light(name)._replace(fixture=f"head {name}"))
    fire_together(session, pop, 200.0 * 2.0**1.5)
    if turned:
        session.move(session.light("KEY"), power_text="1/8", power_stops=-3.0)
    copy = Session(session.library, session.library.copy_setup(session.setup.id, "Again").id, now=session.now)
    key, fill = requests(copy, "KEY", "FILL", held_off_m=0.0)
    copy.begin([key, fill])
    copy.take(pop(100.0 if turned else 200.0))
    copy.take(pop(120.0))

    assert {one.light.fixture for one in copy.view().history if one.light.setup_id == session.setup.id} == {"head FILL"}
    assert row(copy, "KEY").verdict == "good"
    assert copy.view().predictions.keys() == {fill.light_id}


def test_a_reading_is_doubted_by_what_spoke_against_it_while_it_stood(session: Session, pop: MakePop) -> None:
    """Turned before any pop of all: it teaches.  Fired again: the second teaches alone."""

    def taught(name: str = "KEY") -> list[float]:
        light = session.light(name)
        return [2.0**one.value for one in session.view().history if one.light.id == light.id]

    wrong = 200.0 * 2.0**1.5
    session.begin(requests(session, "KEY", held_off_m=0.0))
    session.take(pop(150.0))
    session.move(session.light("KEY"), power_text="1/4 +0.4")
    assert taught() == pytest.approx([150.0])

    fire_together(session, pop, wrong)
    session.begin(requests(session, "KEY", held_off_m=0.0))
    session.take(pop(200.0))
    assert taught() == pytest.approx([150.0, 200.0])
    assert taught("FILL") == pytest.approx([120.0, 120.0])


def test_a_reading_that_a_second_pop_of_all_bears_out_is_believed_again(session: Session, pop: MakePop) -> None:
    """The first pop of all lights was the wrong one: the key teaches its head after it was turned, too."""
    fire_together(session, pop, 200.0)
    both = session.library.last_reading(session.setup.id)
    session.library.void_reading(both.id, "")
    for exposure_lxs in (both.exposure_lxs / 2.0**0.5, both.exposure_lxs):
        session.begin([Request(None, "together", aim="camera", held_off_m=0.0, lit=both.lit)])
        session.take(pop(exposure_lxs))
        assert row(session, "KEY").verdict == ("good" if exposure_lxs == both.exposure_lxs else "retake")
    session.move(session.light("KEY"), power_text="1/8", power_stops=-3.0)

    assert session.light("KEY").id in {one.light.id for one in session.view().history}


def test_a_pop_that_is_to_be_retaken_keeps_its_light_waiting_once(session: Session, pop: MakePop) -> None:
    """The pop after *retake* is the same light's; when that is no better the walk goes on rather than ask a third time."""
    key, fill = requests(session, "KEY", "FILL", held_off_m=0.0)
    session.begin([key._replace(held_off_m=0.75), fill])

    taken = [session.take(pop(200.0)) for _ in range(3)]

    assert [one.light.name for one in taken] == ["KEY", "KEY", "FILL"]
    assert [one.state.judged.verdict for one in taken[:2]] == ["retake", "retake"]
    assert [one.waiting.light_id if one.waiting else None for one in taken] == [key.light_id, fill.light_id, None]
    assert [r.exposure_lxs for r in session.library.readings(session.setup.id)] == [200.0, 200.0]


def test_a_retake_that_a_distance_cures_waits_no_longer(session: Session, pop: MakePop) -> None:
    """Said afterwards that the dome stood at the face, the pop counts: the next one is the next light's."""
    key, fill = requests(session, "KEY", "FILL", held_off_m=0.0)
    session.begin([key._replace(held_off_m=0.75), fill])
    assert session.take(pop(200.0)).waiting.light_id == key.light_id

    session.held(0.0)

    assert session.walk.waiting.light_id == fill.light_id
    assert session.take(pop(50.0)).light.name == "FILL"
    assert session.walk.done


def test_a_retake_that_is_held_as_far_off_as_was_said_goes_on(session: Session, pop: MakePop) -> None:
    """Too far to be corrected, and said to be: fired again there it reads the same, so the next pop is the next light's."""
    session.move(session.light("KEY"), distance_m=0.8, width_m=1.5)
    key, fill = requests(session, "KEY", "FILL", held_off_m=0.0)
    session.begin([key._replace(held_off_m=0.3), fill])

    outcome = session.take(pop(200.0))

    assert (outcome.state.judged.verdict, outcome.state.judged.why) == ("retake", "too_wide")
    assert outcome.waiting.light_id == fill.light_id


def test_a_retake_that_lacks_a_distance_goes_on(session: Session, pop: MakePop) -> None:
    """No pop makes up for a distance that nobody said: the next light waits, and this one is among those that lack."""
    session.move(session.light("KEY"), distance_m=None)
    key, fill = requests(session, "KEY", "FILL", held_off_m=0.0)
    session.begin([key._replace(held_off_m=0.3), fill])

    outcome = session.take(pop(200.0))

    assert (outcome.state.judged.verdict, outcome.state.judged.why) == ("retake", "too_wide")
    assert outcome.waiting.light_id == fill.light_id


def test_a_retake_that_is_skipped_or_taken_back_is_left_so(session: Session, pop: MakePop) -> None:
    """Skipped, the next light waits; taken back, its own."""
    key, fill = requests(session, "KEY", "FILL", held_off_m=0.0)
    session.begin([key._replace(held_off_m=0.75), fill])
    session.take(pop(200.0))
    session.undo()
    assert session.walk.waiting.light_id == key.light_id
    session.take(pop(200.0))
    session.skip()

    assert session.walk.waiting.light_id == fill.light_id


def unplaced(session: Session, name: str) -> Light:
    """A light of the set of which nobody has said where it stands."""
    light = session.light(name)
    session.move(light, distance_m=None, u_distance_m=None, azimuth_deg=None, elevation_deg=None)
    return light


def test_where_a_light_stands_said_after_its_pop_needs_no_new_pop(session: Session, pop: MakePop) -> None:
    """The checks promise it (*no new pop is needed*); obeyed, every reading had become stale.  Moved after that it is stale."""
    key, fill = unplaced(session, "KEY"), unplaced(session, "FILL")
    session.begin([*requests(session, "KEY", held_off_m=0.2), *requests(session, "FILL", held_off_m=0.0)])
    session.take(pop(200.0))
    session.take(pop(50.0))
    session.begin([session.request_together([key, fill], held_off_m=0.0)])
    session.take(pop(150.0))
    assert row(session, "KEY").verdict == "retake"

    session.move(key, distance_m=1.2)
    session.move(fill, distance_m=1.5, azimuth_deg=-50.0, elevation_deg=0.0)
    session.move(key, azimuth_deg=40.0, elevation_deg=30.0)

    assert (row(session, "KEY").verdict, row(session, "FILL").verdict) == ("corrected", "good")
    assert session.view().check.residual_stops is not None, "the pop of all lights still counts"
    assert len(session.known.records.effective) == 3
    session.move(key, distance_m=1.3)
    assert row(session, "KEY").corrected_f is None


def test_a_power_that_is_given_later_is_a_turn(session: Session, pop: MakePop) -> None:
    """Who names a power has most often just turned to it: its reading is shown no more."""
    session.move(session.light("KEY"), power_stops=None, power_text="")
    session.begin(requests(session, "KEY", held_off_m=0.0))
    session.take(pop(200.0))
    session.move(session.light("KEY"), power_stops=-3.0, power_text="1/8")

    assert row(session, "KEY").corrected_f is None


def test_where_the_source_of_a_reflector_stands_said_later_leaves_what_the_reflector_gave(session: Session, pop: MakePop) -> None:
    """Its source did not move: it was only said where it is."""
    key = unplaced(session, "KEY")
    card = Light(new_id(), session.setup.id, "CARD", "fill", source_light_id=key.id, order=3)
    session.add_light(card, Placement(new_id(), card.id, 0.0, "rectangle", 1.0, 1.0, 0.7, None, -60.0))
    session.begin(requests(session, "KEY", "CARD", held_off_m=0.0))
    for exposure_lxs in (200.0, 160.0, 100.0):
        session.take(pop(exposure_lxs))
    before = row(session, "CARD").corrected_f
    session.move(key, distance_m=1.2, azimuth_deg=40.0, elevation_deg=30.0)

    assert before is not None
    assert row(session, "CARD").corrected_f == pytest.approx(before)


def test_told_where_it_stands_in_mid_walk_the_last_pop_is_still_the_last(session: Session, pop: MakePop) -> None:
    """A distance typed after it belongs to the pop's new record."""
    key = unplaced(session, "KEY")
    session.begin(requests(session, "KEY", "FILL"))
    session.take(pop(200.0))
    session.move(key, distance_m=1.2)
    session.held(0.2)

    assert row(session, "KEY").verdict == "corrected"


@pytest.mark.parametrize(("name", "said", "reads"), [("KEY", -3.0, 200.0), ("HAIR", -2.0, 450.0)])
def test_what_only_its_heads_past_speaks_against_teaches_its_head(
    session: Session, pop: MakePop, name: str, said: float, reads: float
) -> None:
    """The pop of key and fill bears out a key whose dial was not turned as was said; of a hair light it says nothing."""
    session.now = map(float, count(1_000)).__next__
    session.move(session.light(name), power_text="1/4", power_stops=-2.0)
    values = {"KEY": 200.0, "FILL": 120.0, "HAIR": 300.0}
    for _ in range(2):
        session.begin(requests(session, name, held_off_m=0.0))
        session.take(pop(values[name]))
    session.move(session.light(name), power_text="", power_stops=said, elevation_deg=31.0)
    others = [one for one in ("KEY", "FILL") if one != name]
    session.begin(requests(session, *others, name, held_off_m=0.0))
    for one in (*others, name):
        session.take(pop(reads if one == name else values[one]))
    fire_both(session, pop, 200.0, 120.0)
    doubted = session.view().state(session.light(name).id)
    assert doubted.judged.verdict == "retake"
    assert doubted.judged.against.code.startswith("against_past")
    (said_so,) = (one for one in findings(session.view()) if "odds" in one.numbers)
    assert ("all lights together" in said_so.text) == (name == "KEY")

    session.move(session.light("FILL"), power_text="1/2", power_stops=-1.0)
    session.move(session.light(name), power_text="1/2", power_stops=-1.0)

    assert doubted.reading.id in {one.reading.id for one in session.view().history}
