"""Lights fired in any order: whose a pop is, what is said of it, and what later pops and the person put right."""

from __future__ import annotations

from collections.abc import Callable
from math import log2

import pytest

from meterlink.errors import UsageError
from meterlink.metering.outcome import Outcome, OutcomeCode, OutcomeKind
from meterlink.metering.session import Session
from meterlink.records import Measurement

MakePop = Callable[..., Measurement]
KEY, FILL, HAIR = 200.0, 60.0, 120.0


def begin(session: Session, *names: str) -> None:
    """Wait for these lights in any order."""
    session.begin((session.request(session.light(name)) for name in names), any_order=True)


def known(session: Session, pop: MakePop, **lights: float) -> None:
    """The set was metered before, in the announced order."""
    lights = lights or {"KEY": KEY, "FILL": FILL, "HAIR": HAIR}
    session.begin(session.request(session.light(name)) for name in lights)
    for exposure_lxs in lights.values():
        assert session.take(pop(exposure_lxs)).kind == OutcomeKind.LOGGED


def fire(session: Session, pop: MakePop, *exposures: float) -> list[Outcome]:
    """Fire pops; they come a second after each other and more, whatever they are."""
    clock = iter(range(1_001, 2_000))
    session.now = lambda: float(next(clock))
    return [session.take(pop(one)) for one in exposures]


def kept(session: Session) -> dict[str, float]:
    """What counts now, by the light's name."""
    return {s.light.name: s.reading.exposure_lxs or 0.0 for s in session.view().lights if s.reading is not None}


def test_a_known_set_is_told_apart_in_whatever_order_it_fires(session: Session, pop: MakePop) -> None:
    """Each pop is logged as the light that gave as much before, surely, and the walk ends with the last one."""
    known(session, pop)
    begin(session, "KEY", "FILL", "HAIR")

    heard = fire(session, pop, 121.0, 199.0, 61.0)

    assert [o.light.name for o in heard if o.light] == ["HAIR", "KEY", "FILL"]
    assert all(o.numbers["odds"] >= 200.0 and not o.numbers["second"] and not o.warnings for o in heard)
    assert kept(session) == {"KEY": 199.0, "FILL": 61.0, "HAIR": 121.0}
    assert session.walk.done


def test_a_light_that_reads_otherwise_as_it_stands_is_said_to_in_any_order(session: Session, pop: MakePop) -> None:
    """Key a stop up, nearer to none of the others: still the key's, and its last reading is held against it; not its own retake."""
    known(session, pop)
    begin(session, "KEY", "FILL", "HAIR")

    heard = fire(session, pop, 400.0, 121.0, 61.0)

    assert [o.light.name for o in heard if o.light] == ["KEY", "HAIR", "FILL"]
    assert [len(o.warnings) for o in heard] == [1, 0, 0]
    assert heard[0].warnings[0].startswith("KEY reads +1.0 stop against its last reading, and stands as it stood")


def test_nothing_known_keeps_the_announced_order_and_says_so(session: Session, pop: MakePop) -> None:
    """Of three lights that were never read nothing tells: the order asked for is kept, and that is said beforehand."""
    begin(session, "KEY", "FILL", "HAIR")
    order = session.order()

    assert order is not None
    assert [str(one) for one in order.said()] == ["none of these lights is known yet: fire them in this order"]
    heard = fire(session, pop, 60.0, 200.0, 90.0)
    assert [o.light.name for o in heard if o.light] == ["KEY", "FILL", "HAIR"]
    assert not any("fired" in o.message or o.warnings or o.numbers["second"] for o in heard)


def test_a_light_never_read_that_gives_as_much_as_one_before_is_not_that_one_again(session: Session, pop: MakePop) -> None:
    """Nothing known and FILL as strong as KEY: it is the light whose turn it is, the walk comes to its end."""
    begin(session, "KEY", "FILL", "HAIR")

    heard = fire(session, pop, 200.0, 200.5, 199.5)

    assert [o.light.name for o in heard if o.light] == ["KEY", "FILL", "HAIR"]
    assert session.walk.done


def test_two_lights_that_cannot_be_told_apart_are_said_beforehand_and_keep_their_order(session: Session, pop: MakePop) -> None:
    """Key and fill gave the same light and last as long: the key is asked for first, the hair light fires when it likes."""
    known(session, pop, KEY=100.0, FILL=100.5, HAIR=300.0)
    begin(session, "KEY", "FILL", "HAIR")
    order = session.order()

    assert order is not None
    assert [str(one) for one in order.said()] == ["KEY and FILL cannot be told apart: fire KEY first"]
    assert [r.light_id for r in session.may_come()] == [session.light("KEY").id, session.light("HAIR").id]
    heard = fire(session, pop, 100.2, 301.0, 99.9)
    assert [o.light.name for o in heard if o.light] == ["KEY", "HAIR", "FILL"]


def test_a_doubtful_pop_is_logged_with_the_second_named_and_put_right_by_the_next(session: Session, pop: MakePop) -> None:
    """Between key and fill it may be either; the next pop can only be one of them, so the first is given to the other."""
    known(session, pop, KEY=100.0, FILL=80.0)
    begin(session, "KEY", "FILL")

    first, second = fire(session, pop, 91.0, 99.0)

    assert first.light is not None
    assert first.light.name == "KEY"
    assert first.numbers["second"] == session.light("FILL").id
    assert first.message.startswith("KEY or FILL? Taken as KEY ")
    assert second.warnings[0] == "what was taken for KEY was FILL: put right"
    assert second.numbers["put_right"] == [[session.light("KEY").id, session.light("FILL").id]]
    assert kept(session) == {"KEY": 99.0, "FILL": 91.0}
    assert session.walk.done


def test_what_a_pop_told_of_another_is_forgotten_when_it_is_taken_back(session: Session, pop: MakePop) -> None:
    """The second pop gave the first to the other light; without it that is again the one that it was taken for."""
    known(session, pop, KEY=100.0, FILL=80.0)
    begin(session, "KEY", "FILL")
    fire(session, pop, 91.0, 99.0)
    assert kept(session) == {"KEY": 99.0, "FILL": 91.0}

    session.undo()

    assert kept(session) == {"KEY": 91.0, "FILL": 80.0}
    assert [r.light_id for r in session.may_come()] == [session.light("FILL").id]


def test_a_pop_from_before_a_light_was_moved_is_not_of_it_as_it_stands(session: Session, pop: MakePop) -> None:
    """The key is turned down until it gives what the hair light gave: the pop before that stays the hair light's."""
    known(session, pop)
    begin(session, "KEY", "FILL", "HAIR")
    fire(session, pop, KEY, 122.0)
    session.move(session.light("KEY"), power_stops=-2.7, power_text="-2.7")
    session.again(session.light("KEY").id)

    fire(session, pop, 118.0)

    assert kept(session) == {"KEY": 118.0, "FILL": FILL, "HAIR": 122.0}


def test_a_pop_given_to_a_light_that_was_moved_since_stays_its(session: Session, pop: MakePop) -> None:
    """She says afterwards, the key turned in between, that the pop was the key's: the next one doubts it no more."""
    known(session, pop)
    begin(session, "KEY", "FILL", "HAIR")
    fire(session, pop, 121.0)
    session.move(session.light("KEY"), power_stops=-2.5, power_text="-2.5")
    session.reassign("KEY")

    (heard,) = fire(session, pop, 119.0)

    assert heard.light is not None
    assert (heard.light.name, heard.warnings) == ("HAIR", ())
    assert kept(session) == {"KEY": 121.0, "FILL": FILL, "HAIR": 119.0}


def test_a_pop_that_fits_nobody_after_the_next_stays_until_its_light_has_its_own(session: Session, pop: MakePop) -> None:
    """Six stops over what the key gave, twice, it was taken for it; the next pop is as the key's was: the key has that one."""
    known(session, pop)
    begin(session, "KEY", "FILL", "HAIR")
    odd = {"t01_s": 0.02, "t05_s": 0.002}
    session.take(pop(6_000.0, **odd))
    taken = session.take(pop(6_050.0, **odd))
    assert taken.light is not None

    heard = fire(session, pop, KEY, FILL, 120.5)

    assert [o.kind for o in heard] == [OutcomeKind.LOGGED] * 3
    assert session.walk.done
    assert kept(session) == {"KEY": KEY, "FILL": FILL, "HAIR": 120.5}


def test_putting_right_loses_nothing(session: Session, pop: MakePop) -> None:
    """The wrong record stays in the library, superseded; what the light had before the walk counts until its own pop comes."""
    known(session, pop, KEY=100.0, FILL=80.0)
    before = len(session.library.all_readings(session.setup.id))
    begin(session, "KEY", "FILL")
    fire(session, pop, 91.0)

    session.reassign("FILL")

    assert kept(session) == {"KEY": 100.0, "FILL": 91.0}
    assert len(session.library.all_readings(session.setup.id)) == before + 2
    assert [r.light_id for r in session.may_come()] == [session.light("KEY").id]


def test_what_the_person_says_stands(session: Session, pop: MakePop) -> None:
    """She says that the first pop was the fill's: no later pop takes it from the fill again, however well it would fit the key."""
    known(session, pop, KEY=100.0, FILL=80.0)
    begin(session, "KEY", "FILL")
    fire(session, pop, 97.0)
    session.reassign("FILL")

    heard = session.take(pop(82.0))

    assert heard.light is not None
    assert heard.light.name == "KEY"
    assert kept(session) == {"KEY": 82.0, "FILL": 97.0}


def test_a_pop_that_fits_no_light_is_nobodys_until_she_says_whose_it_is(session: Session, pop: MakePop) -> None:
    """Thirty times what any light gives, and far too long: a neighbour's, perhaps; named by hand it is kept after all."""
    known(session, pop)
    begin(session, "KEY", "FILL", "HAIR")
    stranger = pop(6_000.0, t01_s=0.02, t05_s=0.002)

    outcome = session.take(stranger)

    assert (outcome.kind, outcome.code) == (OutcomeKind.AGAIN, OutcomeCode.FITS_NONE)
    assert outcome.message.startswith("this pop is none of KEY, FILL or HAIR: kept as nobody's")
    session.reassign("FILL")
    assert kept(session)["FILL"] == 6_000.0
    assert [r.light_id for r in session.may_come()] == [session.light("KEY").id, session.light("HAIR").id]


def test_a_pop_that_fits_no_light_outlives_a_kill(session: Session, pop: MakePop) -> None:
    """It is on the disk before anything is said of it, counts nowhere, and the next program can give it to a light."""
    known(session, pop)
    before = kept(session)
    begin(session, "KEY", "FILL", "HAIR")
    session.take(pop(6_000.0, t01_s=0.02, t05_s=0.002))
    after = Session(session.library, now=lambda: 3_000.0)
    assert after.resume()
    (nobodys,) = [r for r in after.library.all_readings(after.setup.id) if r.light_id is None]
    assert kept(after) == before
    assert after.library.voids(after.setup.id) == {nobodys.id: "nobody's"}

    reading, _ = after.reassign("FILL")

    assert (reading.exposure_lxs, reading.t01_s, reading.supersedes_id) == (6_000.0, 0.02, nobodys.id)
    assert kept(after) == {**before, "FILL": 6_000.0}
    assert after.undo().id == reading.id
    assert kept(after) == before


def test_a_stranger_taken_back_leaves_the_pop_before_it(session: Session, pop: MakePop) -> None:
    """What is taken back is the last pop: the neighbour's flash, and not the key's reading."""
    known(session, pop)
    begin(session, "KEY", "FILL", "HAIR")
    fire(session, pop, 203.0)
    session.take(pop(6_000.0, t01_s=0.02, t05_s=0.002))

    assert session.undo().light_id is None
    assert kept(session)["KEY"] == 203.0
    assert session.undo().light_id == session.light("KEY").id


def test_a_pop_that_fits_no_light_counts_when_it_comes_twice(session: Session, pop: MakePop) -> None:
    """Nobody fires a stranger's head twice while a light is waited for: it is the likeliest light's, with a doubt."""
    known(session, pop, KEY=KEY, FILL=FILL)
    begin(session, "KEY", "FILL")
    odd = {"t01_s": 0.02, "t05_s": 0.002}

    first, second = session.take(pop(6_000.0, **odd)), session.take(pop(6_050.0, **odd))

    assert (first.kind, second.kind) == (OutcomeKind.AGAIN, OutcomeKind.LOGGED)


def test_a_pop_taken_for_a_light_that_had_its_own_is_the_waiting_ones_when_it_comes_twice(session: Session, pop: MakePop) -> None:
    """The hair light turned down to what the fill gives: the walk would wait for it for ever, however often she fires it."""
    known(session, pop)
    begin(session, "KEY", "FILL", "HAIR")

    heard = fire(session, pop, 200.0, 60.0, 60.5)
    assert [o.light.name for o in heard if o.light] == ["KEY", "FILL", "FILL"]
    again = session.take(pop(60.2))

    assert again.light is not None
    assert again.light.name == "HAIR"
    assert session.walk.done
    assert kept(session) == {"KEY": 200.0, "FILL": pytest.approx(60.0, rel=0.01), "HAIR": 60.2}


def test_while_two_lights_wait_a_repeated_pop_is_neither_ones_for_sure(session: Session, pop: MakePop) -> None:
    """The fill's level twice more while key and hair light wait: it is still the fill's, and nobody says which of the two."""
    known(session, pop)
    begin(session, "KEY", "FILL", "HAIR")

    heard = fire(session, pop, 60.0, 60.5, 60.2)

    assert [o.light.name for o in heard if o.light] == ["FILL"] * 3
    assert {r.light_id for r in session.may_come()} == {session.light("KEY").id, session.light("HAIR").id}


def test_a_light_that_she_has_named_is_not_doubted_for_the_next(session: Session, pop: MakePop) -> None:
    """KEY or FILL? FILL, she says: the next pop, as much like the fill's as the key's, is the key's and no question."""
    known(session, pop, KEY=100.0, FILL=80.0)
    begin(session, "KEY", "FILL")
    (doubtful,) = fire(session, pop, 91.0)
    assert doubtful.numbers["second"]
    session.reassign("FILL")

    heard = session.take(pop(93.0))

    assert heard.light is not None
    assert (heard.light.name, heard.numbers["second"]) == ("KEY", "")
    assert heard.numbers["odds"] >= 200.0


def test_a_light_fired_twice_is_metered_again(session: Session, pop: MakePop) -> None:
    """The same light once more is no other light's pop: its second pop replaces the first."""
    known(session, pop)
    begin(session, "KEY", "FILL", "HAIR")

    heard = fire(session, pop, 200.0, 201.0, 60.0)

    assert [o.light.name for o in heard if o.light] == ["KEY", "KEY", "FILL"]
    assert kept(session)["KEY"] == 201.0
    assert [r.light_id for r in session.may_come()] == [session.light("HAIR").id]


def test_the_last_pop_is_taken_back_and_its_light_waits_again(session: Session, pop: MakePop) -> None:
    """Taken back, a pop is nobody's; what was read before the walk counts again."""
    known(session, pop)
    begin(session, "KEY", "FILL", "HAIR")
    fire(session, pop, 121.0, 205.0)

    taken = session.undo()

    assert taken.exposure_lxs == 205.0
    assert kept(session) == {"KEY": KEY, "FILL": FILL, "HAIR": 121.0}
    assert [r.light_id for r in session.may_come()] == [session.light("KEY").id, session.light("FILL").id]


def test_a_killed_walk_goes_on_where_it_was(session: Session, pop: MakePop) -> None:
    """The pops so far, and what was said of them, are known to the next program: a later pop still puts the first right."""
    known(session, pop, KEY=100.0, FILL=80.0)
    begin(session, "KEY", "FILL")
    fire(session, pop, 91.0)
    after = Session(session.library, now=lambda: 3_000.0)

    assert after.resume()
    after.take(pop(99.0))

    assert kept(after) == {"KEY": 99.0, "FILL": 91.0}


def test_a_light_that_the_person_points_at_is_the_next_pops(session: Session, pop: MakePop) -> None:
    """She taps HAIR: whatever the next pop gives, it is the hair light's."""
    known(session, pop)
    begin(session, "KEY", "FILL", "HAIR")
    session.wait_for(session.request(session.light("HAIR")))

    heard = fire(session, pop, 200.0, 200.0)

    assert [o.light.name for o in heard if o.light] == ["HAIR", "KEY"]


def test_a_distance_said_after_a_putting_right_is_the_last_pops(session: Session, pop: MakePop) -> None:
    """20 cm typed after the second pop belongs to it, though an earlier pop got a newer record."""
    known(session, pop, KEY=100.0, FILL=80.0)
    begin(session, "KEY", "FILL")
    fire(session, pop, 91.0, 99.0)

    light = session.held(0.2)

    assert light is not None
    assert light.name == "KEY"
    readings = {s.light.name: s.reading for s in session.view().lights if s.reading}
    assert (readings["KEY"].held_off_m, readings["FILL"].held_off_m) == (0.2, None)
    assert session.undo().light_id == session.light("KEY").id


def test_one_light_alone_is_asked_for_as_ever(session: Session, pop: MakePop) -> None:
    """There is nothing to tell apart: its pop counts, however odd, and the checks say what is wrong with it."""
    known(session, pop, KEY=KEY)
    begin(session, "KEY")

    assert session.take(pop(6_000.0, t01_s=0.02, t05_s=0.002)).kind == OutcomeKind.LOGGED


def test_the_range_is_the_brightest_lights(session: Session, pop: MakePop) -> None:
    """Any may come next, so none may clip."""
    known(session, pop)
    begin(session, "FILL", "KEY", "HAIR")

    found = session.expected()

    assert found is not None
    assert abs(log2(found.exposure_lxs / KEY)) < 0.01


def test_a_pop_of_a_light_that_was_not_asked_for_is_given_to_it(session: Session, pop: MakePop) -> None:
    """The wrong cable: the hair light fired, taken for the key's; said to be the hair light's it is, and the key is waited for."""
    known(session, pop)
    begin(session, "KEY", "FILL")
    fire(session, pop, 190.0)

    _, loser = session.reassign("HAIR")

    assert loser == session.light("KEY")
    assert kept(session) == {"KEY": KEY, "FILL": FILL, "HAIR": 190.0}
    fire(session, pop, 201.0, 61.0)
    assert kept(session) == {"KEY": 201.0, "FILL": 61.0, "HAIR": 190.0}
    assert session.walk.done


def test_a_pop_of_a_light_not_asked_for_taken_back_leaves_the_walk_as_it_was_asked(session: Session, pop: MakePop) -> None:
    """What is waited for again is what the walk was begun for, in the next program too; the hair light reads what it read."""
    known(session, pop)
    begin(session, "KEY", "FILL")
    fire(session, pop, 190.0)
    session.reassign("HAIR")
    after = Session(session.library, now=lambda: 3_000.0)
    assert after.resume()

    assert after.undo().exposure_lxs == 190.0

    assert kept(after) == {"KEY": KEY, "FILL": FILL, "HAIR": HAIR}
    assert [r.light_id for r in after.may_come()] == [after.light(name).id for name in ("KEY", "FILL")]


def test_a_pop_that_fits_no_light_asked_for_is_given_to_one_that_was_not(session: Session, pop: MakePop) -> None:
    """Nobody's pop is the hair light's, she says, though the walk is of key and fill."""
    known(session, pop)
    begin(session, "KEY", "FILL")
    assert session.take(pop(6_000.0, t01_s=0.02, t05_s=0.002)).code == OutcomeCode.FITS_NONE

    session.reassign("HAIR")

    assert kept(session) == {"KEY": KEY, "FILL": FILL, "HAIR": 6_000.0}
    assert [r.light_id for r in session.may_come()] == [session.light(name).id for name in ("KEY", "FILL")]


def test_the_pop_of_all_after_pops_in_any_order_is_the_last_one(session: Session, pop: MakePop) -> None:
    """It is what is taken back, and it can be given to no single light; the pops before it stay whose they are."""
    known(session, pop)
    session.begin([*(session.request(session.light(n)) for n in ("KEY", "FILL")), session.request_together()], any_order=True)
    fire(session, pop, 201.0, 61.0, 262.0)
    assert session.walk.done

    with pytest.raises(UsageError, match="not fired by one light alone"):
        session.reassign("HAIR")
    assert session.undo().light_id is None
    assert kept(session) == {"KEY": 201.0, "FILL": 61.0, "HAIR": HAIR}


def test_a_noisy_pop_does_not_teach_how_long_a_head_lasts(session: Session, pop: MakePop) -> None:
    """The fill was read from a small pop, its duration off by a tenth: by its light it is the fill still, not the hair light."""
    known(session, pop, KEY=KEY, HAIR=HAIR)
    session.begin([session.request(session.light("FILL"))])
    session.take(pop(85.0, u_rel=0.025, t01_s=0.0009, t05_s=0.00028))
    begin(session, "KEY", "FILL", "HAIR")

    outcome = session.take(pop(86.0))

    assert outcome.light is not None
    assert outcome.light.name == "FILL"


def test_a_light_that_the_strong_ones_range_does_not_read_waits_for_them(session: Session, pop: MakePop) -> None:
    """Key and hair need the bright range and the fill would be lost there: it is said beforehand, and the fill may come last."""
    known(session, pop, KEY=800.0, FILL=12.0, HAIR=HAIR)
    begin(session, "KEY", "FILL", "HAIR")
    order = session.order()

    assert order is not None
    assert [str(one) for one in order.said()] == ["fire KEY and HAIR first: the range for that does not read FILL"]
    assert [r.light_id for r in session.may_come()] == [session.light("KEY").id, session.light("HAIR").id]
    fire(session, pop, 121.0, 803.0)
    assert [r.light_id for r in session.may_come()] == [session.light("FILL").id]
    assert session.expected().exposure_lxs == pytest.approx(12.0, rel=0.05)


def test_lights_that_one_range_reads_may_all_fire(session: Session, pop: MakePop) -> None:
    """A factor of ten between key and fill is no reason for an order."""
    known(session, pop, KEY=400.0, FILL=40.0, HAIR=HAIR)
    begin(session, "KEY", "FILL", "HAIR")
    order = session.order()

    assert order is not None
    assert (order.said(), len(session.may_come())) == ([], 3)


def test_a_damaged_pop_is_nobodys_and_the_same_light_is_asked_for(session: Session, pop: MakePop) -> None:
    """Any light may have fired: she is not sent to the key, whose turn it happens to be; one light left is named."""
    known(session, pop)
    begin(session, "KEY", "FILL", "HAIR")

    outcome = session.take(pop(0.0, incomplete=True))

    assert (outcome.light, outcome.message) == (None, "the pop arrived damaged: fire the same light once more")
    fire(session, pop, 121.0, 199.0)
    assert session.take(pop(0.0, incomplete=True)).message == "the pop arrived damaged: fire FILL once more"


def test_lights_whose_order_was_told_are_not_doubted_for_each_other(session: Session, pop: MakePop) -> None:
    """Key and fill are alike and were fired as told: neither pop is a question, and nothing is said of them."""
    known(session, pop, KEY=100.0, FILL=100.5, HAIR=300.0)
    begin(session, "KEY", "FILL", "HAIR")

    heard = fire(session, pop, 100.2, 99.9, 301.0)

    assert [o.light.name for o in heard if o.light] == ["KEY", "FILL", "HAIR"]
    assert [o.numbers["second"] for o in heard] == ["", "", ""]
    assert [o.warnings for o in heard] == [(), (), ()]


def test_a_skipped_light_is_nobodys_candidate(session: Session, pop: MakePop) -> None:
    """Of lights never read the second is left out: the next pop is the third's; said to be the skipped one's it is that."""
    begin(session, "KEY", "FILL", "HAIR")
    fire(session, pop, 200.0)
    session.skip()

    outcome = session.take(pop(120.0))

    assert outcome.light is not None
    assert outcome.light.name == "HAIR"
    assert session.walk.done
    session.reassign("FILL")
    assert kept(session) == {"KEY": 200.0, "FILL": 120.0}
