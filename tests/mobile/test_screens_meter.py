"""The app itself, driven by touches in a real window: from a sensor to the ratio table."""

from __future__ import annotations

from pathlib import Path

import pytest

pytest.importorskip("kivy", reason="kivy is not installed (pip install 'meterlink[app]')")

from tests.mobile.driving import Driver, drive


def test_four_lights_from_connected_sensor_to_ratio_table_take_four_pops_and_at_most_four_taps(tmp_path: Path) -> None:
    """A set of four lights is metered from nothing to its table in four pops and at most four taps."""

    async def scenario(d: Driver) -> tuple[int, int, str, list[str]]:
        await d.connected()
        await d.tap("count:4")
        for _ in range(4):
            await d.pop()
        stops = [d.text(f"row:{name}:stops") for name in ("KEY", "FILL", "HAIR", "BACKGROUND")]
        return d.taps, d.pops, d.app.place, stops

    taps, pops, place, stops = drive(tmp_path / "library.db", scenario, url="sim:?every=0")

    assert pops == 4
    assert taps <= 4
    assert place == "set"
    assert stops[0] == "the key"
    assert all("±" in text for text in stops[1:])


def test_a_second_app_in_the_same_process_starts_anew(tmp_path: Path) -> None:
    """Without a set the first page is shown, with one the metering page."""

    async def first(d: Driver) -> str:
        place = d.app.place
        await d.tap("count:2")
        return place

    async def second(d: Driver) -> tuple[str, str]:
        return d.app.place, d.text("headline")

    assert drive(tmp_path / "library.db", first) == "first"
    assert drive(tmp_path / "library.db", second) == ("metering", "KEY")
