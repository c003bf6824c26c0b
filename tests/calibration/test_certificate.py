"""The certificate as somebody reads it: k=2, units, what fails it, and text from outside that stays text."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest

from benchmarks.calibration_world import Build, SimulatedSensor
from meterlink.calibration.certificate import certificate
from meterlink.calibration.faults import Fault
from meterlink.calibration.findings import Findings, Row
from meterlink.calibration.scale_walk import ScaleWalk
from meterlink.records import Calibration, Identity, RangeScale
from meterlink.report.acceptance import as_html, as_text
from meterlink.words.language import use
from meterlink.words.told import told

WHO = Identity("id<i>1", "do<b>me", "meterlink-1", firmware="1<u>0", flash=True, ranges=("bright", "dim"), adc_bits=10)
MADE = Calibration("c" * 16, "id<i>1", 0.0, 330.0, "dome", (RangeScale(2e6, 0.02), RangeScale(2e5, 0.02)), 0.02, method="reference")
ROWS = (
    Row("repeat", told("row_repeat"), 0.021, 0.004, 0.05, "stop", "pass"),
    Row("dark", told("row_dark_lux", name="<s>dim</s>"), 0.0031, 0.0004, 0.015, "of full scale", "pass"),
    Row("short", told("row_short"), 61e-6, 20e-6, 400e-6, "s", "pass"),
    Row("origin", told("row_origin"), -0.0042, 0.001, 0.015, "m", "pass"),
    Row("hum", told("row_hum"), 0.012, 0.005, 0.05, "", "pass"),
)


def record(rows: tuple[Row, ...] = ROWS, faults: tuple[Fault, ...] = ()) -> dict[str, object]:
    """A certificate of these rows."""
    findings = Findings(rows, 0.02, (0.02, 0.02), 0.0, 0.0, 0.0, None, None, {}, {}, (), None, 0.0, 0.0)
    return certificate(WHO, MADE, findings, made_at_s=1.7e9, faults=faults)


@pytest.mark.parametrize(
    ("what", "figure", "limit"),
    [
        ("spread of one pop", "0.02 ± 0.01 stop", "0.05"),
        ("dark of range <s>dim</s>", "0.31 % ± 0.08 %", "1.50 %"),
        ("t0.5 of a flash", "61 µs ± 40 µs", "400 µs"),
        ("dome plane", "-0.4 cm ± 0.2 cm", "1.5 cm"),
        ("light of a battery torch wavers", "0.01 ± 0.01", "0.05"),
    ],
)
def test_a_row_has_its_figure_at_k_2_in_its_own_unit(what: str, figure: str, limit: str) -> None:
    """What a row knows at k=1 is printed doubled, with the unit of the figure and of the limit."""
    line = next(x for x in as_text(record()).splitlines() if x.startswith(what))

    assert re.search(rf"  {re.escape(figure)} +{re.escape(limit)}  ", line)
    assert "(k=2)" in as_text(record())


def test_u95_of_the_record_is_twice_the_rows() -> None:
    """Whoever reads the record as data gets k=2 too."""
    assert [r["u95"] for r in record()["rows"]] == [2 * r.u for r in ROWS]  # type: ignore[index, attr-defined]


def test_a_named_fault_alone_fails_it() -> None:
    """Every row passes and a cause is named all the same: failed; without it: passed."""
    fault = Fault("mains hum", told("torch_wavers", part=0.1))

    assert record()["verdict"] == "passed"
    assert record(faults=(fault,))["verdict"] == "failed"


def test_names_evidence_and_texts_are_escaped_in_the_page() -> None:
    """Marks in the sensor's name, id, firmware, a row's text and a fault's words are shown, never obeyed."""
    fault = Fault("a<script>", told("note", note="b<img>"))
    page = as_html(record(faults=(fault,)))

    for spoilt in ("<i>", "<b>", "<u>", "<s>", "<script>", "<img>"):
        assert spoilt not in page
        assert spoilt.replace("<", "&lt;").replace(">", "&gt;") in page


def walk_with(*names: str) -> ScaleWalk:
    """A relative walk in which only these overlap steps were taken."""
    sensor = SimulatedSensor(Build((1.0, 1.0), (0.02, 0.02), (0.0, 0.0), 0.001, (0.0, 0.0)), np.random.default_rng(4))
    walk = ScaleWalk(sensor.identity, sensor.calibration, relative=True)
    sensor.calibration = walk.calibration
    for i in (0, 1):
        walk.take(sensor.steady(0.0, i))
    for i in (1, 0):
        for _ in range(3 if f"overlap-0-{i}" in names else 0):
            walk.take(sensor.flash(1.5e5 * 4e-4, i))
        walk.skipped |= {f"overlap-0-{i}"}
    return walk


def test_both_sides_of_an_overlap_are_needed() -> None:
    """One light on both ranges ties them; on one of them alone it ties nothing."""
    both = walk_with("overlap-0-1", "overlap-0-0").evidence().overlaps

    assert len(both) == 1
    assert both[0].raw_ratio == pytest.approx(0.1, rel=0.03)
    assert walk_with("overlap-0-1").evidence().overlaps == ()
    assert walk_with("overlap-0-0").evidence().overlaps == ()


def test_a_certificate_is_said_in_the_language_in_use_and_an_old_one_as_it_was_written() -> None:
    """The record keeps codes with values through JSON: read in German they are German; rows of before are sentences already."""
    kept = json.loads(json.dumps(record(faults=(Fault("mains hum", told("torch_wavers", part=0.12)),))))
    old = {**kept, "rows": [{**kept["rows"][0], "what": "spread <of> before"}], "faults": []}

    use("de")
    text = as_text(kept)
    assert "Streuung eines Blitzes" in text
    assert "wahrscheinliche Ursache: Netzbrummen: eine Taschenlampe scheint um ±12 % zu schwanken" in text
    assert "0,02 ± 0,01 Blende" in text
    assert "spread" not in text
    assert "Kalibrierung Referenz" in text
    assert 'lang="de"' in as_html(kept)
    assert "spread <of> before" in as_text(old)
    assert "spread &lt;of&gt; before" in as_html(old)


@pytest.mark.parametrize("what", [None, 3, [], ["row_hum"], ["no such code", {}], ["row_hum", 3], [["row_hum"], {}]])
def test_a_row_that_cannot_be_read_is_left_empty(what: object) -> None:
    """A library from elsewhere may hold anything where a row says what it is."""
    damaged = {**record(), "rows": [{**record()["rows"][0], "what": what}]}  # type: ignore[index]

    assert "0.02 ± 0.01 stop" in as_text(damaged)
