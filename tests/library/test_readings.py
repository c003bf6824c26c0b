"""Readings in the store: whole, durable, never changed; what counts now is derived."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from meterlink.errors import LibraryError, NotInLibrary, UsageError
from meterlink.library import Library
from meterlink.library.rows import has_controls
from meterlink.records import Pop, Reading, new_id


def test_reading_with_every_field_comes_back_whole(filled) -> None:
    """No field of a reading is lost or rounded."""
    reading = filled.reading(
        kind="steady", purpose="together", illuminance_lx=812.5, point="hair", receptor="flat", aim="camera",
        held_off_m=0.2, held_off_toward="0.1,-0.17,0", u_held_off_m=0.02, lit=(filled.key.id, filled.fill.id),
        clipped=True, too_dim=True, cct_k=5480.0, duv=-0.0021, x=0.3325, y=0.3476, note="dome turned",
        pops=(Pop(1.5, 0.1, 2.0, None, None, 3.0, True, 0), Pop(1.25)),
    )  # fmt: skip
    filled.library.add_reading(reading)

    assert filled.library.all_readings(filled.setup.id) == [reading]
    assert filled.library.reading(reading.id) == reading


def test_a_single_pop_that_says_the_same_is_not_stored_twice(filled) -> None:
    """A usual reading costs one row, and its pop still comes back."""
    reading = filled.add()

    assert filled.library.db.row("SELECT count(*) FROM pop") == (0,)
    assert filled.library.reading(reading.id).pops == reading.pops


def test_readings_of_the_whole_set_need_no_light(filled) -> None:
    """``together`` and ``room`` belong to the set, not to a light."""
    room = filled.add(light_id=None, placement_id=None, purpose="room", kind="steady", exposure_lxs=None, pops=())

    assert filled.library.readings(filled.setup.id) == [room]


def test_void_takes_a_reading_back_and_keeps_it(filled) -> None:
    """Void readings do not count but stay, with the reason."""
    first, second = filled.add(), filled.add()
    filled.library.void_reading(second.id, "stray pop")
    filled.library.void_reading(second.id, "again")

    assert filled.library.readings(filled.setup.id) == [first]
    assert filled.library.last_reading(filled.setup.id) == first
    assert filled.library.all_readings(filled.setup.id) == [first, second]
    assert filled.library.voids(filled.setup.id) == {second.id: "stray pop"}


def test_taking_back_a_retake_brings_the_earlier_reading_back(filled) -> None:
    """A chain of retakes is undone one by one."""
    first = filled.add()
    second = filled.add(supersedes_id=first.id)
    third = filled.add(supersedes_id=second.id)
    library, setup_id = filled.library, filled.setup.id

    assert library.readings(setup_id) == [third]
    library.void_reading(third.id)
    assert library.readings(setup_id) == [second]
    library.void_reading(second.id)
    assert library.readings(setup_id) == [first]


def test_a_void_link_in_a_chain_does_not_bring_the_first_back(filled) -> None:
    """What was superseded by something that was itself superseded stays superseded."""
    first = filled.add()
    second = filled.add(supersedes_id=first.id)
    third = filled.add(supersedes_id=second.id)
    filled.library.void_reading(second.id)

    assert filled.library.readings(filled.setup.id) == [third]


def test_reassigned_reading_is_a_new_record_with_its_waveform(filled, make_block) -> None:
    """Giving a reading to another light leaves the old record as it was."""
    old = filled.reading(filled.key)
    filled.library.add_reading(old, make_block())
    stands = filled.stands[filled.fill.id].id
    new = filled.library.restate_reading(old.id, light_id=filled.fill.id, placement_id=stands)

    assert new.light_id == filled.fill.id
    assert new.supersedes_id == old.id
    assert new.taken_at_s == old.taken_at_s
    assert filled.library.readings(filled.setup.id) == [new]
    assert filled.library.reading(old.id) == old
    assert filled.library.waveform(new.id) == make_block()


def test_no_reading_yet_is_none(filled) -> None:
    """An empty set has no last reading."""
    assert filled.library.last_reading(filled.setup.id) is None


def test_a_waveform_is_there_or_its_absence_is_told(filled, make_block) -> None:
    """A reading comes with its waveform or without one."""
    assert filled.library.waveform(filled.add().id) is None
    assert filled.library.waveform(filled.add(waveform=make_block()).id) == make_block()


def test_damaged_waveform_is_refused_before_it_is_unpacked(filled, make_block) -> None:
    """A waveform that unpacks to another size than it claims is called damaged; the reading stands."""
    import zlib

    reading = filled.add(waveform=make_block())
    with filled.library.db.write() as connection:
        connection.execute("UPDATE waveform SET samples = ?", (zlib.compress(bytes(64 * 2**20), 9),))
    with pytest.raises(LibraryError, match="waveform is damaged"):
        filled.library.waveform(reading.id)
    assert filled.library.readings(filled.setup.id) == [reading]


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -1.0, "much", 2**70])
def test_impossible_exposures_are_refused_and_nothing_is_kept(filled, value) -> None:
    """NaN, infinite, negative and non-numeric exposures never reach the table."""
    with pytest.raises(LibraryError):
        filled.add(exposure_lxs=value, pops=())
    assert filled.library.all_readings(filled.setup.id) == []


@pytest.mark.parametrize(
    "facts",
    [{"kind": "laser"}, {"receptor": "eye"}, {"range_index": 999}, {"note": "x" * 200_000}, {"note": "\udc80"},
     {"lit": ("zz",)}, {"pops": (Pop(float("nan")),)}, {"pops": (Pop(1.0),) * 1001}, {"supersedes_id": new_id()},
     {"light_id": new_id()}, {"placement_id": new_id()}, {"calibration_id": new_id()}, {"setup_id": new_id()},
     {"id": "12"}, {"sensor_id": ""}],
    ids=lambda facts: next(iter(facts)),
)  # fmt: skip
def test_impossible_readings_are_refused_in_one_line(filled, facts) -> None:
    """Unknown codes, ids and over-long texts are refused whole, each in one line."""
    with pytest.raises((LibraryError, UsageError)) as caught:
        filled.add(**facts)
    assert "\n" not in str(caught.value)
    assert filled.library.all_readings(filled.setup.id) == []


def test_a_placement_of_another_light_is_refused(filled) -> None:
    """A reading is tied to a placement of its own light."""
    with pytest.raises(UsageError, match="placement belongs to another light"):
        filled.add(placement_id=filled.stands[filled.fill.id].id)


def test_unknown_readings_are_named(filled) -> None:
    """Voiding, showing or re-assigning what is not there says so."""
    for act in (filled.library.void_reading, filled.library.reading, filled.library.waveform):
        with pytest.raises(NotInLibrary):
            act(new_id())


def test_a_transaction_that_fails_leaves_no_trace(filled) -> None:
    """What a failing block wrote is undone, also inside another block."""

    def fail() -> None:
        with filled.library.db.write():
            filled.library.add_reading(filled.reading(sensor_id="new sensor"))
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    assert filled.library.all_readings(filled.setup.id) == []
    filled.add(sensor_id="new sensor")
    assert len(filled.library.all_readings(filled.setup.id)) == 1


number = st.floats(0, 1e9, allow_subnormal=False)
maybe = st.none() | number
length = st.none() | st.floats(0, 1000, allow_subnormal=False)
time = st.none() | st.floats(0, 1e6, allow_subnormal=False)
texts = st.characters(codec="utf-8").filter(lambda c: not has_controls(c))
pop = st.builds(Pop, number, st.floats(0, 1), maybe, maybe, maybe, maybe, st.booleans(), st.integers(0, 255))
facts = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(["flash", "steady"]),
        "purpose": st.sampled_from(["alone", "without", "with", "together", "room"]),
        "exposure_lxs": maybe, "illuminance_lx": maybe, "point": st.text("abcñ ", min_size=1, max_size=9),
        "receptor": st.sampled_from(["dome", "flat"]), "aim": st.sampled_from(["light", "camera"]),
        "held_off_m": length, "held_off_toward": st.sampled_from(["light", "up", "1,2,3"]), "u_held_off_m": length,
        "u_rel": st.floats(0, 1), "pops": st.lists(pop, max_size=4).map(tuple), "peak_lx": maybe, "t05_s": time,
        "t01_s": time, "ambient_lx": maybe, "clipped": st.booleans(), "too_dim": st.booleans(), "duv": maybe,
        "range_index": st.integers(0, 255), "note": st.text(texts),
    }
)  # fmt: skip


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(facts, max_size=5))
def test_any_readings_come_back_as_they_were(filled, many) -> None:
    """Whatever a sensor can say is stored and read back unchanged, in the order it was taken."""
    before = filled.library.all_readings(filled.setup.id)
    stored: list[Reading] = [filled.add(**values) for values in many]

    assert filled.library.all_readings(filled.setup.id) == before + stored


links = st.lists(st.tuples(st.integers(0, 8), st.booleans(), st.booleans()), min_size=1, max_size=8)


@settings(max_examples=60)
@given(links)
def test_what_counts_follows_from_the_marks_alone(tmp_path_factory, links) -> None:
    """Against a plain recursive definition: a reading counts when it is not void and nothing standing supersedes it."""
    from library_sets import Set

    with Library.open(tmp_path_factory.mktemp("l") / "l.sqlite") as library:
        one = Set(library)
        ids: list[str] = []
        voids: set[str] = set()
        old: dict[str, str] = {}
        for target, retake, void in links:
            earlier = ids[target % len(ids)] if ids and retake else None
            reading = one.add(supersedes_id=earlier)
            ids.append(reading.id)
            if earlier:
                old[reading.id] = earlier
            if void:
                library.void_reading(reading.id)
                voids.add(reading.id)

        def stands(i: str) -> bool:
            return i not in voids or any(stands(n) for n, o in old.items() if o == i)

        expected = [i for i in ids if i not in voids and not any(stands(n) for n, o in old.items() if o == i)]
        assert [r.id for r in library.readings(one.setup.id)] == expected
