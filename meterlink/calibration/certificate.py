"""The record of an acceptance: a plain dictionary kept with the calibration (``report/acceptance.py`` prints it)."""

from __future__ import annotations

from typing import Any

from meterlink.calibration.claim import after_dark, kept, withdrawn
from meterlink.calibration.faults import Fault, name_faults
from meterlink.calibration.findings import Findings
from meterlink.records import Calibration, Identity, new_id

SCHEMA = "meterlink-certificate-1"
HARMLESS = ("dome plane",)
"""Faults that leave the light at the dome right."""


def certificate(
    identity: Identity,
    calibration: Calibration,
    findings: Findings,
    *,
    made_at_s: float,
    receptor: str = "",
    temperature_c: float | None = None,
    faults: tuple[Fault, ...] | None = None,
) -> dict[str, Any]:
    """Return the record: who, when, with what, every row, the faults named and the verdict.

    Verdict: ``passed`` when nothing failed and nothing is unsure, ``failed`` when anything failed, else ``open``.
    """
    named = name_faults(findings) if faults is None else faults
    claim = after_dark(calibration, findings.dark_raw, findings.drift_raw)
    spoiling = [f.name for f in named if f.name not in HARMLESS]
    if spoiling:
        claim = withdrawn(claim, kept("mend", faults=spoiling))
    outcomes = {r.outcome for r in findings.rows}
    verdict = "failed" if "fail" in outcomes or named else ("open" if outcomes & {"unsure", "left out"} else "passed")
    return {
        "schema": SCHEMA,
        "sensor_id": identity.sensor_id,
        "sensor_name": identity.name,
        "firmware": identity.firmware,
        "calibration_id": calibration.id,
        "calibration_method": calibration.method,
        "receptor": receptor or calibration.receptor,
        "made_at_s": made_at_s,
        "temperature_c": temperature_c,
        "verdict": verdict,
        "rows": [
            {"name": r.name, "what": list(r.what), "figure": r.figure, "u95": 2 * r.u, "limit": r.limit, "unit": r.unit,
             "outcome": r.outcome}
            for r in findings.rows
        ],
        "faults": [{"name": f.name, "evidence": list(f.evidence), "remedy": list(f.remedy)} for f in named],
        "claim": claim,
        "range_names": list(identity.ranges),
        "constant": calibration.constant,
    }  # fmt: skip


def certified(calibration: Calibration, record: dict[str, Any], created_at_s: float) -> Calibration:
    """Return a new calibration record, the same scale with this certificate and what it leaves of the claim."""
    details = {**calibration.details, "certificate": record, "verifies": calibration.id}
    if record["claim"] is not None:
        details["claim"] = record["claim"]
    return calibration._replace(id=new_id(), created_at_s=created_at_s, details=details)
