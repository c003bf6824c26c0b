"""Which calibration a reading is made with: the sensor's own with the receptor that is mounted."""

from __future__ import annotations

import asyncio
from math import log2
from typing import Any

import pytest

from meterlink.calibration.chosen import OLD_S, choose, in_use, reminders
from meterlink.judging.verdict import judge
from meterlink.library.store import Library
from meterlink.metering.driver import Metering
from meterlink.metering.sensor_in_use import calibration_for
from meterlink.metering.session import Session
from meterlink.photometry import exposure
from meterlink.records import Calibration, Identity, Placement, RangeScale, Reading, new_id
from meterlink.simulation.chip_model import ChipModel
from meterlink.simulation.sensor import SimulatedLink
from meterlink.simulation.studio import Pulse
from meterlink.testing import VirtualLoop

WHO = Identity("s1", "sensor", "meterlink-1", flash=True, ranges=("bright", "dim"), adc_bits=10)
DOME = Calibration(new_id(), "s1", 10.0, 330.0, "dome", (RangeScale(2e6, 0.02), RangeScale(2e5, 0.02)), 0.03,
                   method="reference", angle_response=((0.0, 1.0),), details={"range_names": ["bright", "dim"]})  # fmt: skip
FLAT = DOME._replace(id=new_id(), created_at_s=20.0, constant=250.0, receptor="flat",
                     ranges=(RangeScale(1e6, 0.02), RangeScale(1e5, 0.02)))  # fmt: skip


def test_a_sensor_with_both_receptors_uses_the_one_that_is_mounted() -> None:
    """Dome first, disk calibrated later: the dome keeps its own; without a word the newest that was made counts."""
    assert choose([DOME, FLAT], WHO, "dome") == DOME
    assert choose([DOME, FLAT], WHO, "flat") == FLAT
    assert choose([DOME, FLAT], WHO) == FLAT


def test_the_assumed_one_has_the_receptors_own_constant() -> None:
    """C of ISO 2720's exposure equation: 250 lx for a flat receptor, 330 for a dome; 0.4 stop lie between them."""
    flat, dome = choose([], WHO, "flat"), choose([], WHO, "dome")

    assert (flat.constant, flat.receptor, dome.constant, dome.receptor) == (250.0, "flat", 330.0, "dome")
    apart = 2 * log2(exposure.f_number(10, 100, flat.constant) / exposure.f_number(10, 100, dome.constant))
    assert apart == pytest.approx(0.40, abs=0.01)


def test_a_receptor_without_a_calibration_borrows_ranges_and_says_a_stop() -> None:
    """Ranges and darks are the diode's and stay; scale ± 1 stop (k=2); angles are unknown; an assumed dome is no calibration."""
    borrowed = choose([DOME._replace(method="assumed", ranges=(RangeScale(1.0),)), DOME], WHO, "flat")

    assert borrowed.id == ""
    assert borrowed.ranges == DOME.ranges
    assert (borrowed.method, borrowed.constant, borrowed.angle_response) == ("assumed", 250.0, ())
    assert 2 * borrowed.u_scale_rel / 0.6931 == pytest.approx(1.0, abs=0.01)
    assert "± 1.0 stop" in str(in_use(borrowed))
    assert str(reminders(borrowed, WHO, 0.0)[0]).startswith("never calibrated with the flat")


def test_what_was_assumed_is_stored_once_and_again_when_the_other_receptor_is_calibrated_anew(library: Library) -> None:
    """Two walks with the disk store one assumed record; a newer dome calibration makes another."""
    library.add_calibration(DOME)
    first, again = (calibration_for(library, WHO, 30.0, "flat").id for _ in range(2))
    library.add_calibration(DOME._replace(id=new_id(), created_at_s=40.0, ranges=(RangeScale(3e6), RangeScale(3e5))))
    later = calibration_for(library, WHO, 50.0, "flat")

    assert first == again
    assert later.id != first
    assert later.ranges[0].full_scale_lx == 3e6
    assert calibration_for(library, WHO, 60.0, "dome").created_at_s == 40.0


def reading(receptor: str) -> Reading:
    """A sound reading at the face."""
    return Reading("r", "s", "l", "p", "c", "s1", 0.0, exposure_lxs=100.0, receptor=receptor, held_off_m=0.0)


@pytest.mark.parametrize(
    ("receptor", "used", "said"),
    [
        ("flat", choose([DOME], WHO, "flat"), "not calibrated with the flat receptor: f-number off by up to 1.0 stop"),
        ("flat", DOME, "not calibrated with the flat receptor: f-number off by up to 1.0 stop"),
        ("dome", DOME, ""),
        ("flat", FLAT, ""),
    ],
)
def test_every_reading_made_so_says_what_it_may_cost(receptor: str, used: Calibration, said: str) -> None:
    """Borrowed, or made with another receptor's calibration before they were told apart: the reason says it; else nothing."""
    reason = judge(reading(receptor), Placement("p", "l", 0.0, "disk", 0.9, distance_m=1.2), calibration=used).reason

    assert said in reason
    assert bool(said) == ("not calibrated" in reason)


def test_the_walk_takes_each_light_with_its_receptors_calibration(session: Session) -> None:
    """Disk for the key and dome for the fill in one walk, both calibrated: each has its own calibration, and both are told."""
    told: list[Calibration] = []

    async def work() -> list[Any]:
        chip = ChipModel(noise_codes=0.0)
        link = SimulatedLink(chip, clock=asyncio.get_running_loop().time)
        outcomes: list[Any] = []
        metering = Metering(
            session, "sim:?every=0", link=link, on_outcome=outcomes.append, on_calibration=told.append, now=lambda: 99.0
        )
        sensor_id = chip.identity.sensor_id
        for c in (DOME, FLAT):
            session.library.add_calibration(c._replace(sensor_id=sensor_id))
        how = [("KEY", "flat"), ("FILL", "dome")]
        session.begin([session.request(session.light(name), receptor=receptor) for name, receptor in how])
        try:
            await metering.open()
            await metering.ready()
            for _ in how:
                await asyncio.sleep(3.0)
                link.pop(Pulse(100.0, fall_s=0.4e-3))
                await asyncio.sleep(0.5)
        finally:
            await metering.close()
        return outcomes

    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        outcomes = runner.run(work())

    assert [o.reading.calibration_id for o in outcomes] == [FLAT.id, DOME.id]
    # The disk's full scale is half of the dome's, so the same codes are half the light.
    assert outcomes[1].reading.exposure_lxs / outcomes[0].reading.exposure_lxs == pytest.approx(2.0, rel=0.02)
    assert [c.receptor for c in told] == ["flat", "dome"]


def test_meters_first_line_says_which_calibration_and_what_is_due(library: Library, capsys: pytest.CaptureFixture[str]) -> None:
    """A year-old calibration: the terminal says which one is used and that it is old."""
    from meterlink.cli.driving import Screen

    class Now:
        @staticmethod
        def now() -> float:
            return 10.0 + OLD_S + 1

    Screen(Now()).calibration(DOME._replace(reference="lab"), WHO)  # type: ignore[arg-type]

    first, second = capsys.readouterr().out.splitlines()
    assert first == f'calibration {DOME.id[:8]}, dome, 1970-01-01, against "lab": f-numbers ± 0.09 stop'
    assert second.startswith("! calibrated 365 days ago")


def test_a_reminder_on_a_phone_names_no_command() -> None:
    """What is due is put for where it is read: a command at the terminal, plain words in the app."""
    from meterlink.words.language import Place, spoken_for

    borrowed = choose([DOME], WHO, "flat")
    assert "meterlink calibrate --receptor flat" in str(reminders(borrowed, WHO, 0.0)[0])
    with spoken_for(Place.PHONE):
        untested = DOME._replace(angle_response=())
        words = list(map(str, (*reminders(borrowed, WHO, 0.0), *reminders(None, WHO, 0.0), *reminders(untested, WHO, 10.0))))

    assert len(words) == 3
    assert not [w for w in words if "meterlink" in w]
