"""The pure decisions of sensing: ranges, pairing of notices and blocks, averaging of levels."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlink.errors import AnalysisError, CalibrationError
from meterlink.records import Calibration, Identity, Measurement, PopNotice, RangeScale, Steady, WaveBlock
from meterlink.sensor.measuring import levels, ranges
from meterlink.sensor.measuring.calibrate import default_calibration, illuminance_lx, raw_for
from meterlink.sensor.measuring.pops import BLOCK_WAIT_S, DAMAGE_GRACE_S, PopBook

NAMES = ("bright", "dim")
TWO = Calibration("c", "s", 0.0, 330.0, ranges=(RangeScale(2e6), RangeScale(2e5)))


def block(pop: int, data: bytes = b"\x01\x02") -> WaveBlock:
    """Return a small block."""
    return WaveBlock(0.0, pop, data, 8, 8, (), 0)


@given(st.floats(1.0, 1e7), st.floats(5.0, 40.0))
def test_a_steady_light_never_swings_between_ranges(peak_lx: float, factor: float) -> None:
    """From whatever range a pop comes, following the advice ends after at most two switches."""
    calibration = TWO._replace(ranges=(RangeScale(2e6), RangeScale(2e6 / factor)))
    index, switches = 0, 0
    for _ in range(6):
        raw = raw_for(peak_lx, index, calibration)
        advice = ranges.after_pop(min(raw, 1.0), raw >= 1.0, index, calibration, NAMES)
        switches += advice.range_index != index
        index = advice.range_index
    assert switches <= 2
    assert ranges.after_pop(min(raw, 1.0), raw >= 1.0, index, calibration, NAMES).range_index == index


@given(st.floats(0.0, 5e6))
def test_steady_light_settles_on_one_range(light_lx: float) -> None:
    """The choice for steady light has a gap between up and down."""
    index = 0
    seen = []
    for _ in range(6):
        raw = min(1.0, raw_for(light_lx, index, TWO))
        index = ranges.for_steady(raw, raw >= 1.0, index, TWO)
        seen.append(index)
    assert len(set(seen[2:])) == 1


def test_the_most_sensitive_range_that_holds_the_peak_is_chosen() -> None:
    """140,000 lx is 0.7 of the dim range and still fits; a little more does not; too much for all takes the widest."""
    assert ranges.for_peak(139_000, TWO) == 1
    assert ranges.for_peak(141_000, TWO) == 0
    assert ranges.for_peak(9e9, TWO) == 0


def test_levels_of_light_by_calibration() -> None:
    """raw 0.5 above a dark of 0.01 on a full scale of 2000 lx is 980 lx; an unknown range is refused."""
    calibration = Calibration("c", "s", 0.0, 330.0, ranges=(RangeScale(2000.0, 0.01),))
    assert illuminance_lx(0.5, 0, calibration) == pytest.approx(980.0)
    assert raw_for(980.0, 0, calibration) == pytest.approx(0.5)
    with pytest.raises(CalibrationError, match="meterlink calibrate"):
        illuminance_lx(0.5, 1, calibration)


@pytest.mark.parametrize("count", range(1, 9))
def test_an_uncalibrated_sensor_gets_a_scale_for_every_range(count: int) -> None:
    """The assumed calibration has falling full scales, a stated uncertainty and the dome's constant."""
    identity = Identity("s", "n", "meterlink-1", flash=True, adc_bits=10, ranges=tuple("abcdefgh"[:count]))
    calibration = default_calibration(identity)
    scales = [r.full_scale_lx for r in calibration.ranges]
    assert len(scales) == count
    assert scales == sorted(scales, reverse=True)
    assert (calibration.method, calibration.u_scale_rel, calibration.constant) == ("assumed", 0.1, 330.0)


def test_a_sensor_that_reports_lux_is_passed_through() -> None:
    """Without any calibration its own lux stand."""
    calibration = default_calibration(Identity("s", "n", "lux-lines"))
    level = levels.level(Steady(1.0, None, illuminance_lx=123.4), "s", calibration)
    assert level.illuminance_lx == 123.4


def test_a_block_pays_for_its_notice_once() -> None:
    """Notice and block in order: one pop, nothing missing, nothing waited for."""
    book = PopBook()
    assert book.notice(PopNotice(0.0, 1)) == []
    assert book.waiting
    assert book.block(block(1)) == (True, [])
    assert not book.waiting
    assert book.block(block(1)) == (False, [])
    assert book.notice(PopNotice(0.1, 1)) == []
    assert not book.waiting


def test_a_block_without_its_notice_is_news() -> None:
    """When only the notice was damaged the pop still counts."""
    assert PopBook().block(block(7)) == (True, [])


def test_the_next_pop_closes_the_book_on_the_last() -> None:
    """A notice or block of another pop says that the one waited for will not come."""
    book = PopBook()
    first, second = PopNotice(0.0, 1), PopNotice(1.0, 2)
    book.notice(first)
    assert book.notice(second) == [first]
    assert book.block(block(3)) == (True, [second])


def test_waiting_ends_by_time_and_sooner_after_damage() -> None:
    """A silent line is given the time of the longest block, a damaged frame half a second."""
    book = PopBook()
    pop = PopNotice(10.0, 1)
    book.notice(pop)
    assert book.due(10.0 + BLOCK_WAIT_S - 0.01) == []
    assert book.due(10.0 + BLOCK_WAIT_S) == [pop]
    book.notice(PopNotice(20.0, 2))
    book.damage(20.1)
    assert book.due(20.1 + DAMAGE_GRACE_S - 0.01) == []
    assert len(book.due(20.1 + DAMAGE_GRACE_S)) == 1
    assert book.block(block(2)) == (False, [])


def test_a_restarted_sensor_may_use_its_numbers_again() -> None:
    """After a restart pop 1 is another pop, even with the same samples."""
    book = PopBook()
    book.block(block(1))
    book.restart()
    assert book.block(block(1)) == (True, [])


def test_an_average_says_how_sure_it_is() -> None:
    """Four levels around 100 lx: their mean, and the spread over the root of four."""
    found = levels.mean_level(
        [Measurement("steady", t, "s", "c", illuminance_lx=v) for t, v in enumerate((98.0, 102.0, 98.0, 102.0))]
    )
    assert found.illuminance_lx == 100.0
    assert found.u_rel == pytest.approx(0.0231 / 2, rel=0.01)


def test_a_clipped_level_is_left_out_of_an_average_and_marks_it() -> None:
    """Full scale may stand for any light: the mean is that of the others, and that one clipped is still said."""
    whole = [Measurement("steady", t, "s", "c", illuminance_lx=v) for t, v in enumerate((100.0, 102.0, 98.0))]
    cut = Measurement("steady", 3.0, "s", "c", illuminance_lx=160.0, clipped=True, note="clips: too bright for this range")

    for order in ([*whole, cut], [cut, *whole]):
        found = levels.mean_level(order)
        assert (found.illuminance_lx, found.clipped) == (100.0, True)
    assert not levels.mean_level(whole).clipped
    assert levels.mean_level([cut, cut]) == cut


def test_a_level_without_a_number_spoils_no_average() -> None:
    """Nine good levels and one that is no number, wherever it came: their mean, and nothing wrong with it."""
    lux = default_calibration(Identity("s", "n", "lux-lines"))
    good = [levels.level(Steady(float(t), None, illuminance_lx=250.0), "s", lux) for t in range(9)]
    bad = levels.level(Steady(9.0, None, illuminance_lx=float("nan")), "s", lux)

    for order in ([*good, bad], [bad, *good]):
        found = levels.mean_level(order)
        assert (found.illuminance_lx, found.incomplete, found.trouble, found.note) == (250.0, False, None, "")
    assert levels.mean_level([bad]).incomplete


def test_an_average_is_no_surer_than_its_levels_and_keeps_the_strongest_flicker() -> None:
    """Four equal levels of 4 % each are known to 2 %; the modulation is the largest of them."""
    flicker = (None, 0.2, 0.6, 0.3)
    found = levels.mean_level(
        [Measurement("steady", t, "s", "c", illuminance_lx=100.0, u_rel=0.04, modulation=m) for t, m in enumerate(flicker)]
    )
    assert found.u_rel == pytest.approx(0.02)
    assert found.modulation == 0.6


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_sensor_that_sends_no_number_gives_no_level(value: float) -> None:
    """NaN and infinity are no light: the level is marked and never averaged."""
    calibration = default_calibration(Identity("s", "n", "lux-lines"))
    level = levels.level(Steady(1.0, None, illuminance_lx=value), "s", calibration)
    assert level.incomplete
    assert level.illuminance_lx is None
    with pytest.raises(AnalysisError):
        levels.mean_level([])
