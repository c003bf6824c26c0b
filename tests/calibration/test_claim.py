"""Claims: where a tenth of a stop is promised, by hand calculation, and where nothing is."""

from __future__ import annotations

import math
from typing import Any

import pytest
import scipy

from benchmarks.calibration_figures import stops_of
from meterlink.calibration.certificate import certificate, certified
from meterlink.calibration.claim import SIGMAS, after_dark, claim_of, withdrawn
from meterlink.calibration.faults import Fault
from meterlink.calibration.findings import Findings
from meterlink.records import Calibration, Identity, RangeScale
from meterlink.report.acceptance import claim_lines
from meterlink.words.language import use
from meterlink.words.told import NOTHING, told_again


def said(words: object) -> str:
    """What a claim's record says, in words."""
    return str(told_again(words, "claim_"))


LIMIT_REL = 0.1 * math.log(2)
IDENTITY = Identity("s", "sensor", "meterlink-1", flash=True, ranges=("bright", "dim"), adc_bits=10)


def calibration(u_ref: float = 0.02, u_range: float = 0.005, **more: Any) -> Calibration:
    """A calibration of two ranges a factor of ten apart."""
    details = {
        "u_dark_raw": [3e-4, 3e-4], "noise_peak": [0.001, 0.002], "pulse_s": 5e-4, **more.pop("details", {}),
    }  # fmt: skip
    ranges = (RangeScale(2e6, 0.02, u_range), RangeScale(2e5, 0.02, u_range))
    return Calibration("c", "s", 0.0, 330.0, ranges=ranges, u_scale_rel=u_ref, method="reference", details=details)._replace(**more)


def findings(**more: Any) -> Findings:
    """Nothing found but a dark."""
    empty: dict[str, Any] = dict.fromkeys(Findings._fields, ())
    empty |= {"dark_raw": (0.02, 0.02), "drift_raw": 0.0, "rows": ()}
    return Findings(**(empty | more))


def test_sigmas_are_those_of_99_percent() -> None:
    """99 % of a normal distribution lie within it (scipy as the oracle)."""
    assert scipy.stats.norm.cdf(SIGMAS) - scipy.stats.norm.cdf(-SIGMAS) == pytest.approx(0.99, abs=1e-4)


def test_ends_follow_from_the_budget() -> None:
    """What reference and range leave of the tenth (99 %) is what noise and dark may take, at exactly the lower ends."""
    claim = claim_of(calibration())

    left = math.sqrt((LIMIT_REL / scipy.stats.norm.ppf(0.995)) ** 2 - 0.02**2 - 0.005**2)
    left_95 = math.sqrt((LIMIT_REL / 2) ** 2 - 0.02**2 - 0.005**2)
    assert claim is not None
    assert claim["against"] == "truth"
    assert claim["steady_lx"][1] == pytest.approx([math.sqrt(2) * 3e-4 / left * 2e5, 0.93 * 2e5], rel=1e-3)
    assert claim["flash_peak_lx"][0] == pytest.approx([max(0.001 / left, 0.002 / left_95) * 2e6, 0.9 * 2e6], rel=1e-3)
    assert claim["angle_deg"] == 0.0


def test_width_counts_what_two_ranges_share_once() -> None:
    """Ranges that overlap count once, a gap between them not at all."""
    claim = {"steady_lx": [[10.0, 80.0], [4.0, 20.0]], "flash_peak_lx": [[64.0, 128.0], [1.0, 4.0]]}

    assert stops_of(claim, "steady") == pytest.approx(math.log2(20))
    assert stops_of(claim, "flash") == pytest.approx(3.0)


def test_a_poor_reference_leaves_a_claim_against_itself() -> None:
    """A reference known to 0.1 stop (k=1) cannot carry 0.1 stop of f-number: what is claimed is what it would read."""
    claim = claim_of(calibration(u_ref=0.0693))

    assert claim is not None
    assert claim["against"] == "reference"
    assert "0.20 stop" in said(claim["why"])
    assert "against this reference" in claim_lines(claim, ("bright", "dim"), 330.0)[0]


def test_nothing_is_claimed_when_nothing_is_left() -> None:
    """Ranges known to 5 % only claim nothing and say what to do; a design value is no calibration at all."""
    claim = claim_of(calibration(u_range=0.05))

    assert claim is not None
    assert not any(claim["steady_lx"] + claim["flash_peak_lx"])
    assert claim_lines(claim, ("bright", "dim"), 330.0)[0].startswith("no range is claimed: ")
    assert "more pairs" in said(claim["why"])
    assert claim_of(calibration(method="assumed")) is None


def test_light_from_the_side_is_claimed_as_far_as_the_response_is_known() -> None:
    """With a measured response the claim reaches as far as its uncertainty costs little; a poorer one reaches less far."""
    response = tuple((5.0 * i, (1 + math.cos(math.radians(5 * i))) / 2) for i in range(25))
    reach = [
        claim_of(calibration(angle_response=response, details={"angle": {"u_rel": [slope * 5 * i for i in range(25)]}}))
        for slope in (1e-4, 2e-4, 1e-3)
    ]

    assert [c["angle_deg"] for c in reach if c] == [75.0, 45.0, 0.0]


def test_a_dark_that_has_moved_costs_the_bottom() -> None:
    """A dark 0.2 % of full scale off its calibration raises the dim end of steady light, not that of pops."""
    known = calibration()
    before, after = claim_of(known), after_dark(known, (0.022, 0.02))

    assert before is not None
    assert after is not None
    assert after["steady_lx"][0][0] > 2 * before["steady_lx"][0][0]
    assert after["steady_lx"][1] == before["steady_lx"][1]
    assert after["flash_peak_lx"] == before["flash_peak_lx"]


def test_a_fault_takes_the_claim_away() -> None:
    """A certificate that names a cause which spoils readings claims nothing until it is mended; a moved mark spoils none."""
    known = calibration()
    hum, mark = Fault("mains hum", NOTHING), Fault("dome plane", NOTHING)
    bad = certificate(IDENTITY, known, findings(), made_at_s=0.0, faults=(hum,))
    good = certificate(IDENTITY, known, findings(), made_at_s=0.0, faults=(mark,))

    assert "mend" in said(bad["claim"]["why"])
    assert not any(bad["claim"]["steady_lx"])
    assert good["claim"] == claim_of(known)
    assert certified(known, bad, 1.0).details["claim"] == bad["claim"]
    assert withdrawn(None, "x") is None


def test_words_name_each_range_in_lux_and_f_numbers() -> None:
    """One line a range: steady light in lux, pops as f-numbers at ISO 100 of the calibration's own pulses."""
    claim = claim_of(calibration())
    assert claim is not None

    lines = claim_lines(claim, ("bright", "dim"), 330.0)

    # 0.9 of 2 Mlx over 0.5 ms are 900 lx·s: sqrt(900 · 100 / 330) = 16.5, a tenth above f/16.
    assert lines[0] == "f-numbers good to 0.1 stop in 99 % of readings, dome aimed at the light:"
    assert "steady" in lines[1]
    assert lines[1].endswith("to f/16 +0.1 (pulses of 1/2000 s)")
    assert lines[2].startswith("  dim: ")


def points(*kinds: str) -> dict[str, Any]:
    """Details of a calibration with pairs of these kinds."""
    return {"points": [{"kind": kind, "range": 1} for kind in kinds], "u_plane_rel": 0.005, "light_distance_m": 2.0}


def test_steady_light_that_was_never_weighed_is_not_claimed() -> None:
    """Flash pairs alone: flash is claimed as with both, steady light not, and the words say what its lamp may cost."""
    both, flash = (claim_of(calibration(details=points(*kinds))) for kinds in (("flash", "steady"), ("flash",)))

    assert both is not None
    assert flash is not None
    assert both["steady_lx"][1]
    assert flash["steady_lx"] == [None, None]
    assert flash["flash_peak_lx"] == both["flash_peak_lx"]
    assert any("no steady lamp was weighed" in s and "0.15 to 0.44 stop" in s for s in claim_lines(flash, ("a", "b"), 330.0))


def test_a_claim_names_the_lamps_that_it_holds_for() -> None:
    """With a spectral response: lamps within 0.02 stop are named with the calibration's own, the others with their error; without
    one the table's span is said."""
    known = claim_of(calibration(details=points("steady") | {
        "lamp": "studio tungsten", "lamp_errors": {"candle": 0.012, "daylight": -0.04, "LED, cool": -0.31},
    }))  # fmt: skip
    unknown = claim_of(calibration(details=points("steady")))

    assert known is not None
    assert unknown is not None
    told = " / ".join(map(said, known["assumes"]))
    assert "steady light is that of studio tungsten; it holds for candle too" in told
    assert "daylight -0.04, LED, cool -0.31" in told
    assert "another lamp's spectrum moves a filtered diode by 0.15 to 0.44 stop" in " / ".join(map(said, unknown["assumes"]))


def test_the_spans_own_figures_are_those_of_the_table() -> None:
    """0.15 to 0.44 stop is what spectral.md has for its filtered diode under tungsten, daylight and near-daylight lamps aside."""
    from hardware_notes.design.make_notes import NOTES

    text = (NOTES / "spectral.md").read_text(encoding="utf-8").split("Calibrated under tungsten")[1].split("Calibrated under")[0]
    rows = [line.split("|")[1:3] for line in text.splitlines() if line.startswith("| ") and "lamp |" not in line]
    errors = {name.strip(): abs(float(stops)) for name, stops in rows}

    assert max(errors.values()) == pytest.approx(0.44)
    assert errors["daylight flash (xenon)"] == pytest.approx(0.15)


def test_where_the_dome_stood_is_systematic() -> None:
    """0.5 cm (k=1) at half a metre is 0.029 stop in every reading alike; pairs do not average it, and the lower ends rise by it."""
    half_a_metre = points("flash", "steady") | {"u_plane_rel": 0.02, "light_distance_m": 0.5}
    near = calibration(details=half_a_metre, u_ref=math.hypot(0.015, 0.02))
    far = calibration(details=points("flash", "steady"), u_ref=math.hypot(0.015, 0.005))
    close, off = claim_of(near), claim_of(far)

    assert close is not None
    assert off is not None
    assert "lights 0.5 m off: 0.06 stop, in every reading alike" in " / ".join(map(said, close["assumes"]))
    assert close["flash_peak_lx"][1][0] > 1.3 * off["flash_peak_lx"][1][0]


def test_a_claims_sentences_are_read_in_the_language_in_use() -> None:
    """A record keeps code and values: German when German is in use; a record of before keeps its English sentence."""
    claim = claim_of(calibration(u_ref=0.2))
    assert claim is not None
    english = said(claim["why"])
    try:
        use("de")
        german = said(claim["why"])
        lines = claim_lines(claim, ("bright", "dim"), 330.0)
    finally:
        use("en")
    assert "the reference itself is known to" in english
    assert "Referenz" in german
    assert "Blendenwerte" in lines[0]
    assert said("as it was said before") == "as it was said before"


HOSTILE = (
    None, 7, [], ["plane"], ["plane", {}], ["plane", {"far": "x", "stops": []}], [[], {}], ["no", {}], ["mend", {"faults": [[]]}],
    ["few_pairs", {"stops": 10**400}],
)  # fmt: skip


@pytest.mark.parametrize("hostile", HOSTILE)
def test_a_claim_from_elsewhere_that_makes_no_sense_says_nothing(hostile: object) -> None:
    """What another library may hold in place of a sentence is no error."""
    assert isinstance(said(hostile), str)
