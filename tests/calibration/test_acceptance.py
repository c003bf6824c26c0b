"""Verify: sound sensors pass, bad builds are named, the certificate says so."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from benchmarks.bench_calibration_coverage import BAD_BUILDS
from benchmarks.calibration_walks import CannotDo, Photographer
from benchmarks.calibration_world import FULL_SCALE_LX, Build, SimulatedSensor
from hardware_notes.design import circuit
from hardware_notes.design.builds import BUILDS
from meterlink.calibration import certificate as c
from meterlink.calibration.acceptance import AcceptanceWalk
from meterlink.calibration.faults import name_faults
from meterlink.calibration.findings import Findings
from meterlink.calibration.judge import judge
from meterlink.records import Identity, Measurement
from meterlink.report.acceptance import as_html, as_text
from meterlink.sensor.measuring.calibrate import default_calibration
from meterlink.words.phrases.faults import FAULTS

SOUND = Build(gain=(0.98, 1.0), dark=(0.0195, 0.0205), bend=(0.0, 0.0), noise=0.002, side=(-0.05, 0.0))


def verified(seed: int = 3, **fault: Any) -> tuple[AcceptanceWalk, Findings]:
    """Take a sensor with a fault through the walk, as far as it goes."""
    rng = np.random.default_rng(seed)
    sensor = SimulatedSensor(SOUND._replace(**fault), rng)
    walk = AcceptanceWalk(sensor.identity, sensor.calibration, nominal_lx=FULL_SCALE_LX)
    try:
        Photographer(sensor, rng).walk(walk)
    except CannotDo:
        pass
    return walk, judge(walk)


def test_sound_sensor_fails_nothing() -> None:
    """A sound sensor has no failed row and no cause is named."""
    walk, findings = verified()

    assert walk.done
    assert [r for r in findings.rows if r.outcome == "fail"] == []
    assert name_faults(findings) == ()
    assert {r.name for r in findings.rows} >= {"dark", "leak", "hum", "repeat", "short", "origin", "additivity", "overlap"}


def test_where_the_plane_is_is_known_no_better_than_the_ranges_are_tied() -> None:
    """Near readings come from one range and far ones from another: pops of the overlap that scatter leave the origin less sure."""
    walk, findings = verified()
    signs = iter((0.9, 1.1) * 10)
    walk.taken = [
        one._replace(measurement=one.measurement._replace(exposure_lxs=one.measurement.exposure_lxs * next(signs)))
        if one.task.name == "overlap-0-1" else one
        for one in walk.taken
    ]  # fmt: skip

    assert findings.distance is not None
    assert judge(walk).distance.u_origin_m > 1.5 * findings.distance.u_origin_m


@pytest.mark.parametrize("kind", sorted(BAD_BUILDS))
def test_bad_build_is_named(kind: str) -> None:
    """Each kind of bad build is named by its own name, with evidence and a remedy."""
    fault, names = BAD_BUILDS[kind]

    _, findings = verified(**fault)
    named = name_faults(findings)

    assert {f.name for f in named} & names
    assert all(str(f.remedy) == FAULTS[f.name] and str(f.evidence) for f in named)


@pytest.mark.parametrize("design", BUILDS, ids=lambda one: one.name)
@pytest.mark.parametrize("mistake", ["resistors changed over", "range wire missing"])
def test_two_ranges_alike_are_named_so_with_all_that_makes_them_alike(design: circuit.Build, mistake: str) -> None:
    """R1 in R2's place leaves the small one across the amplifier for good: as without the range wire, the switch hardly matters."""
    built = design._replace(dim_ohm=design.bright_ohm, bright_ohm=design.dim_ohm) if "changed" in mistake else design
    ranges = built.ranges if "changed" in mistake else (built.ranges[1],) * 2
    gain = tuple(a.r_ohm / b.r_ohm for a, b in zip(ranges, design.ranges, strict=True))

    _, findings = verified(gain=gain)
    named = name_faults(findings)

    assert [one.name for one in named[:1]] == ["range does not switch"]
    for part in ("range wire", "switch", "feedback resistors"):
        assert part in str(named[0].remedy)


def test_unfinished_walk_leaves_rows_out() -> None:
    """A walk that has just begun has rows that are left out and no verdict of passing."""
    sensor = SimulatedSensor(SOUND, np.random.default_rng(1))
    walk = AcceptanceWalk(sensor.identity, sensor.calibration)

    record = c.certificate(sensor.identity, sensor.calibration, judge(walk), made_at_s=0.0)

    assert record["verdict"] == "open"
    assert {r["outcome"] for r in record["rows"]} == {"left out"}


def test_certificate_is_plain_data_text_and_a_page() -> None:
    """The record survives JSON; the text names the cause; the page is self-contained and escapes the sensor's name."""
    walk, findings = verified(swapped=True)
    identity = walk.identity._replace(name="<b>me</b>\x1b[2J", firmware="0.1.0")
    record = c.certificate(identity, walk.calibration, findings, made_at_s=1.7e9, temperature_c=21.0)

    again = json.loads(json.dumps(record, allow_nan=False))
    text, page = as_text(again), as_html(again)

    assert again["verdict"] == "failed"
    assert "probable cause: swapped resistors" in text
    assert "\x1b" not in text
    assert "&lt;b&gt;me" in page
    assert "<b>" not in page
    assert "src=" not in page
    assert "http" not in page
    assert "21 °C" in page
    assert [one["outcome"] for one in again["rows"] if one["name"] == "overlap"][:1] == ["fail"]


def test_a_certificate_without_a_claim_does_not_call_its_calibration_none() -> None:
    """Records made before claims were stated say that they state none; only an assumed calibration is no calibration."""
    walk, findings = verified()
    record = c.certificate(walk.identity, walk.calibration, findings, made_at_s=1.7e9)
    record.update(calibration_method="f-numbers")
    record.pop("claim", None)

    assert "states no light" in as_text(record)
    assert "no calibration yet" in as_text({**record, "calibration_method": "assumed"})


def test_certified_calibration_is_a_new_record() -> None:
    """The certificate goes into a new calibration record of the same scale; the old one is untouched."""
    walk, findings = verified()
    record = c.certificate(walk.identity, walk.calibration, findings, made_at_s=5.0)

    new = c.certified(walk.calibration, record, 5.0)

    assert new.id != walk.calibration.id
    assert new.ranges == walk.calibration.ranges
    assert new.details["certificate"]["verdict"] == record["verdict"]
    assert "certificate" not in walk.calibration.details


def test_a_known_angular_response_is_corrected_before_it_is_judged() -> None:
    """A dome with a measured error passes once its response is in the calibration."""
    walk, findings = verified(side=(-0.4, 0.0))
    assert any(r.name == "angle" and r.outcome == "fail" for r in findings.rows)
    assert findings.angle is not None

    walk.judged = walk.judged._replace(angle_response=findings.angle.response)
    again = judge(walk)

    assert not any(r.name == "angle" and r.outcome == "fail" for r in again.rows)


@pytest.mark.parametrize(("lux", "outcome", "names"), [(1.84, "pass", []), (900.0, "fail", ["light leak"])])
def test_the_dark_of_a_chip_that_reports_lux_is_judged_in_lux(lux: float, outcome: str, names: list[str]) -> None:
    """A step is dark, 900 lx are light under the cap: named as that, not as a diode the wrong way round, and shown in lux."""
    identity = Identity("a", "chip", "lux-lines")
    made = default_calibration(identity)
    walk = AcceptanceWalk(identity, made)
    for _ in range(3):
        walk.take(Measurement("steady", 0.0, "a", walk.calibration.id, illuminance_lx=lux))

    found = judge(walk)
    record = c.certificate(identity, made, found, made_at_s=0.0)

    assert (found.rows[0].name, found.rows[0].unit, found.rows[0].outcome) == ("dark", "lx", outcome)
    assert [f["name"] for f in record["faults"]] == names
    assert f"{lux:.2f} ± 2.00 lx" in as_text(record)
