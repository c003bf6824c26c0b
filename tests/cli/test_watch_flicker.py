"""What ``watch`` says of flicker."""

from __future__ import annotations

from meterlink.cli.watch import Flicker, level_line
from meterlink.records import Measurement


def level(lux: float, modulation: float, range_index: int = 0) -> Measurement:
    """One level."""
    return Measurement("steady", 0.0, "s", "c", illuminance_lx=lux, modulation=modulation, range_index=range_index)


def test_flicker_is_said_once_a_second_of_levels_shows_it_and_not_of_noise() -> None:
    """A swing of 30 % that repeats is flicker; one that changes from window to window is noise; another range begins anew."""
    flicker = Flicker()
    steady = [flicker.hear(level(2e4, 0.3), 2e5) for _ in range(10)]
    assert steady[0] is None
    assert steady[-1] is not None
    assert round(steady[-1]) == 30
    assert flicker.hear(level(2e4, 0.3, 1), 2e5) is None

    noise = Flicker()
    assert [noise.hear(level(2e3, 0.30 + 0.04 * (i % 3)), 2e5) for i in range(10)][-1] is None


def test_the_line_says_it() -> None:
    """The figure without noise stands in the line, never the raw swing."""
    assert "flickers 10 %" in level_line(level(2e4, 0.54), 330.0, 100.0, 1 / 128, 200.0, 10.2)
    assert "flickers" not in level_line(level(2e4, 0.54), 330.0, 100.0, 1 / 128, 200.0)
