"""What the metering page says, without a window."""

from __future__ import annotations

import struct
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlink.errors import GeometryError, UnitError
from meterlink.records import Segment, WaveBlock
from meterlink.words.language import spoken_in
from mobile import held_state
from mobile import metering_state as state
from mobile.desk import Shot
from mobile.last_pop import Figure, figure_of
from mobile.wave_state import WAVE_POINTS, wave_points
from tests.mobile.desks import Metered


def test_without_a_set_it_says_how_to_begin() -> None:
    """An empty app has a headline and an instruction, no figure and no error."""
    shown = state.metering_look(Shot())

    assert shown.headline == "No set yet"
    assert shown.figure == Figure()


def test_the_waiting_light_is_in_the_headline_and_the_next_is_announced(metered) -> None:
    """KEY is waited for, then FILL."""
    shown = state.metering_look(metered(3).desk.shot)

    assert (shown.headline, shown.step, shown.following) == ("KEY", "1 of 3", "then FILL")
    assert [(c.name, c.verdict, c.waiting) for c in shown.chips] == [
        ("KEY", "", True),
        ("FILL", "", False),
        ("HAIR", "", False),
    ]


def test_the_point_that_the_dome_is_off_is_named_in_the_language_in_use(metered) -> None:
    """HAIR's point stood in English beside German words."""
    one = metered(3)
    with spoken_in("de"):
        one.pop(200.0)
        one.pop(100.0)
        one.pop(50.0)
        shown = state.metering_look(one.desk.shot)

    assert shown.held_title == "HAIR: Kalotte vor: Haar"


def test_a_pop_is_shown_as_an_f_number_with_its_verdict(metered) -> None:
    """N² = H·S/C: 211.2 lx·s at ISO 100 and C = 330 is f/8 exactly (ISO 2720's exposure equation)."""
    one = metered(2)
    one.desk.hold_off(one.id_of("KEY"), 0.0)
    one.desk.move_light(one.id_of("KEY"), distance_m=1.5)
    one.pop(64 * 330 / 100)

    shown = state.metering_look(one.desk.shot)

    assert shown.figure == Figure("f/", "8", "")
    assert (shown.last_name, shown.verdict, shown.headline) == ("KEY", "good", "FILL")
    assert shown.reason
    assert shown.spoken == "KEY, f 8"


def test_a_verdict_beside_the_last_pop_is_its_own(metered) -> None:
    """The key at the shoulder gives f/4: not the f/8 of the face, nor that it was good there."""
    one = metered(2)
    one.desk.hold_off(one.id_of("KEY"), 0.0)
    one.desk.move_light(one.id_of("KEY"), distance_m=1.5)
    one.pop(64 * 330 / 100)
    session = one.desk._need()
    session.begin([session.request(session.light("KEY"), point="shoulder")])
    one.pop(16 * 330 / 100)

    shown = state.metering_look(one.desk.shot)

    assert (shown.last_name, shown.figure, shown.verdict) == ("KEY", Figure("f/", "4", ""), "")
    assert {chip.name: chip.verdict for chip in shown.chips}["KEY"] == "good"


def test_the_last_pop_is_still_shown_after_a_restart(metered) -> None:
    """Killed and started again, the figure and its verdict are there."""
    one = metered(2)
    one.pop(640.0)
    before = state.metering_look(one.desk.shot)

    again = one.reopened()

    after = state.metering_look(again.shot)
    assert (after.figure, after.verdict, after.headline) == (before.figure, before.verdict, before.headline)
    again.close()


def test_thirds_are_shown_where_they_are_liked(metered) -> None:
    """The nearest nominal third instead of tenths."""
    one = metered(1)
    one.desk.remember(step="third")
    one.pop(64 * 330 / 100 * 2 ** (1 / 3))

    assert state.metering_look(one.desk.shot).figure.main in ("8", "9")
    assert state.metering_look(one.desk.shot).figure.after == ""


def test_a_pop_that_is_asked_for_again_says_so_and_waits(metered) -> None:
    """Too dim: the sentence says one more pop, the verdict is retake, the same light waits."""
    one = metered(2)
    one.pop(1.0, too_dim=True)

    shown = state.metering_look(one.desk.shot)

    assert shown.verdict == "retake"
    assert "one more pop" in shown.note
    assert shown.headline == "KEY"


def test_a_stale_reading_is_never_shown_as_current(metered) -> None:
    """After its light was re-powered the last pop is marked, with the reason."""
    one = metered(1)
    one.pop(640.0)
    one.desk.move_light(one.id_of("KEY"), power_stops=-1.0, power_text="1/2")

    shown = state.metering_look(one.desk.shot)

    assert shown.verdict == "retake"
    assert "re-powered" in shown.reason
    assert shown.chips[0].verdict == ""


def test_a_rejected_pop_offers_one_tap_that_takes_it_again(metered) -> None:
    """KEY re-powered while FILL waits: "Fire KEY again"; nothing of the kind for a good pop, or while KEY waits itself."""
    one = metered(2)
    one.pop(640.0)
    assert state.metering_look(one.desk.shot).again == ""

    one.desk.move_light(one.id_of("KEY"), power_stops=-1.0, power_text="1/2")
    assert state.metering_look(one.desk.shot).again == "Fire KEY again"

    one.desk.wait_for(one.id_of("KEY"))
    assert state.metering_look(one.desk.shot).again == ""


def test_a_pop_that_only_lacks_the_lights_distance_offers_to_say_that(metered) -> None:
    """Held off by 22 cm, which was forgotten, before a light of unknown distance: the button asked for a pop that cures nothing."""
    one = metered(2)
    one.pop(640.0)
    one.desk.hold_off(one.id_of("KEY"), 0.22)
    shown = state.metering_look(one.desk.shot)
    assert (shown.verdict, shown.again, shown.lacks) == ("retake", "Say how far KEY is", "distance")

    one.desk.move_light(one.id_of("KEY"), distance_m=1.3)
    shown = state.metering_look(one.desk.shot)
    assert (shown.verdict, shown.again, shown.lacks) == ("corrected", "", "")


def test_a_reflector_says_what_to_do_with_and_without_it(metered) -> None:
    """First in place, then away, naming the light to fire and what the dome looks at: at the source it would see no card."""
    one = metered(1)
    one.desk.add_light("CARD", "fill", source_id=one.id_of("KEY"))
    one.desk.begin()
    one.pop(640.0)

    assert state.metering_look(one.desk.shot).instruction == "put CARD in place and fire KEY; dome toward CARD"
    # Its two pops are one light of the walk, and it is not announced while it is the one that waits.
    shown = state.metering_look(one.desk.shot)
    assert (shown.headline, shown.step, shown.following) == ("CARD", "2 of 2", "Skip")
    one.pop(800.0)
    # The pop with it is not held against the key's own: what it adds is known with the next one.
    shown = state.metering_look(one.desk.shot)
    assert (shown.verdict, shown.reason) == ("", "")
    assert state.metering_look(one.desk.shot).instruction == "take CARD away and fire KEY again; dome as before"


def test_the_scale_turns_at_the_reach_of_this_light(metered) -> None:
    """A point source 1 m away: 0.1 stop is 1 - 2^-0.05 of the distance by the inverse square, 3.4 cm; a third is 10.9 cm."""
    one = metered(1)
    assert state.metering_look(one.desk.shot).scale.good_m is None

    one.desk.move_light(one.id_of("KEY"), distance_m=1.0)

    scale = state.metering_look(one.desk.shot).scale
    assert scale.good_m == pytest.approx(1 - 2**-0.05, rel=0.05)
    assert scale.usable_m == pytest.approx(1 - 2 ** (-1 / 6), rel=0.05)


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("f/8", ("f/", "8", "")),
        ("f/5.6 +0.3", ("f/", "5.6", "+0.3")),
        ("12.3 lx·s", ("", "12.3", "lx·s")),
        ("", ("", "", "")),
    ],
)
def test_a_value_is_split_for_its_sizes(text: str, parts: tuple[str, str, str]) -> None:
    """The number is large, what stands around it small."""
    assert figure_of(text) == parts


# -- live level


@pytest.mark.parametrize("lx", [None, float("nan")])
def test_no_live_light_is_no_text(lx: float | None) -> None:
    """What is not there is not shown as if it were."""
    assert state.live_text(lx) == ""


def test_a_clipped_level_says_so() -> None:
    """Too bright is words, not a number."""
    assert "too bright" in state.live_text(5000.0, clipped=True)


def test_light_that_the_range_cannot_tell_is_said_to_be_below_it() -> None:
    """Noise of a dark room is no number that jumps: below what the range resolves it says just that."""
    assert state.live_text(39.1, least_lx=2000.0) == state.live_text(-120.0, least_lx=2000.0) == "< 2,000 lx"
    assert state.live_text(2400.0, least_lx=2000.0) == "2,400 lx"


# -- waveform


def block(values: list[int], segments: tuple[Segment, ...], bits: int = 16) -> WaveBlock:
    """A captured flash."""
    data = struct.pack(f"<{len(values)}{'H' if bits == 16 else 'B'}", *values)
    return WaveBlock(0.0, 1, data, bits, 16, segments, 0)


def test_the_peak_of_a_flash_is_never_dropped() -> None:
    """One high sample among 4000 is in the 160 points that are drawn."""
    values = [10] * 4000
    values[1234] = 60000

    points = wave_points(block(values, (Segment(0, 4000, 1e-5),)))

    assert len(points) <= WAVE_POINTS
    assert max(y for _, y in points) == 1.0


def test_time_is_true_where_the_sample_interval_changes() -> None:
    """Ten samples of 10 µs, then ten of 90 µs: half of the samples take a tenth of the time."""
    points = wave_points(block(list(range(1, 21)), (Segment(0, 10, 1e-5), Segment(10, 10, 9e-5))), count=20)

    assert points[10][0] == pytest.approx(100e-6 / (100e-6 + 9 * 90e-6), rel=1e-6)


@given(st.binary(max_size=300), st.sampled_from([8, 16, 7]), st.integers(-5, 400), st.integers(0, 400))
def test_any_block_is_drawn_or_not_but_never_an_error(data: bytes, bits: int, start: int, count: int) -> None:
    """Odd lengths, foreign segments and unknown widths give points within the frame, or none."""
    points = wave_points(WaveBlock(0.0, 1, data, bits, 16, (Segment(start, count, 1e-5),), 0))

    assert all(0 <= x <= 1 and 0 <= y <= 1 for x, y in points)


def test_no_waveform_is_allowed_and_shows_nothing() -> None:
    """Its absence is no error."""
    assert wave_points(None) == ()


# -- held off


@given(st.floats(0, 1))
def test_the_slider_stands_where_it_was_left(fraction: float) -> None:
    """A place on the slider gives a held-off distance in whole centimetres that stands at that place again."""
    slider = held_state.HeldSlider()
    held = slider.held_at(fraction)
    again = slider.fraction_of(held)

    if held is None:
        assert fraction < slider.unknown_part
    else:
        assert round(held * 100) == pytest.approx(held * 100)
        assert abs(again - fraction) <= 0.5 / 60 * (1 - slider.unknown_part) + 1e-9
    assert slider.held_at(again) == held


def test_not_given_is_a_place_of_its_own_and_not_zero() -> None:
    """The left end means nobody has said; the next place is zero."""
    slider = held_state.HeldSlider()

    assert slider.held_at(0.0) is None
    assert slider.held_at(slider.unknown_part) == 0.0
    assert held_state.held_text(None, False) == "not given"
    assert held_state.held_text(0.0, False) == "at the point"
    assert held_state.held_text(0.2, False) == "20 cm"
    assert held_state.held_text(0.254, True) == "10 in"


def test_hands_are_a_hand_apart() -> None:
    """Seven marks from 0 to 60 cm."""


@pytest.mark.parametrize(
    ("text", "imperial", "held_m"),
    [
        ("20", False, 0.2),
        ("20cm", False, 0.2),
        ("8", True, 0.2032),
        ("0.2m", True, 0.2),
        ("", False, None),
        ("0", False, 0.0),
        ("7,5", False, 0.075),
        # What the field itself shows, now or once.
        ("not given", False, None),
        ("at the point", False, 0.0),
        ("20 cm toward the light", False, 0.2),
    ],
)
def test_a_typed_distance_takes_the_unit_of_the_field(text: str, imperial: bool, held_m: float | None) -> None:
    """A bare number is in the unit that is shown; a unit that is typed wins."""
    assert held_state.held_typed(text, imperial) == (None if held_m is None else pytest.approx(held_m))


@pytest.mark.parametrize("text", ["-5", "two hands", "1e9", "nan", "20 20", "‮20cm", "9" * 400])
def test_what_cannot_be_a_distance_is_refused_in_one_line(metered, text: str) -> None:
    """The same errors as the command line: one line, and nothing is changed."""
    one = metered(1)

    with pytest.raises((UnitError, GeometryError)) as refused:
        held_state.held_changed(one.desk, one.id_of("KEY"), text)

    assert "\n" not in str(refused.value)
    assert dict(one.desk.shot.held)[one.id_of("KEY")] is None


def in_order(metered: Callable[..., Metered]) -> tuple[Metered, str]:
    """Two lights, one after the other, the key (whose id it is) at a known place."""
    one = metered(2)
    key = one.id_of("KEY")
    one.desk.remember(free_order=False)
    one.desk.move_light(key, distance_m=1.2, azimuth_deg=40.0)
    one.desk.begin()
    return one, key


def test_a_retake_that_was_not_held_too_far_off_is_asked_for_where_it_was_held(metered) -> None:
    """KEY 5 cm off, darker than its head gave before: the dome was right, and the instruction names the distance in use."""
    one, key = in_order(metered)
    for power in (-2.0, -1.0, -2.0):
        one.desk.move_light(key, power_stops=power)
        one.desk.wait_for(key)
        one.pop(320.0 * 2.0**power)
    one.desk.move_light(key, elevation_deg=10.0)
    one.desk.wait_for(key)
    one.desk.hold_off(key, 0.05)
    one.pop(20.0)
    one.desk.wait_for(key)

    shown = state.metering_look(one.desk.shot)

    assert shown.verdict == "retake"
    assert shown.instruction == "fire KEY again, dome 5.0 cm off"


def test_a_pop_to_be_retaken_keeps_its_light_in_the_headline_and_says_again(metered) -> None:
    """KEY with the dome 80 cm off: headline, chip and instruction stay KEY's, nothing else asks; FILL only comes after it."""
    one, key = in_order(metered)
    one.desk.hold_off(key, 0.8)
    one.pop(640.0)

    shown = state.metering_look(one.desk.shot)

    assert (shown.verdict, shown.headline, shown.recalled) == ("retake", "KEY", "80 cm off, as at its last pop")
    assert shown.instruction == "tap “At the point” and fire KEY again there", "else it is taken for 80 cm off"
    assert [chip.waiting for chip in shown.chips] == [True, False]
    assert (shown.again, shown.next.act, shown.following) == ("", "", "then FILL")


def test_a_pop_that_cannot_be_corrected_is_shown_as_it_was_read_and_says_why(metered) -> None:
    """The dome was said to be behind the light: the card said *0 lx·s*, and why one touch deeper."""
    one = metered(1)
    key = one.id_of("KEY")
    one.desk.move_light(key, distance_m=1.5, azimuth_deg=40.0)
    one.desk.begin()
    one.desk.hold_off(key, 1.4)
    one.pop(640.0)
    one.desk.move_light(key, shape="disk", width_m=1.5)
    one.desk.begin()
    one.pop(640.0)

    shown = state.metering_look(one.desk.shot)
    assert (shown.verdict, shown.figure.main) == ("retake", "11")
    assert shown.note == one.desk.shot.view.lights[0].judged.reason != ""
    assert shown.reason == "", "nothing is left for a touch"
