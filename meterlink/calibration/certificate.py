"""The record of an acceptance: a plain dictionary kept with the calibration, as text and as a page to print."""

from __future__ import annotations

import html
import time
from typing import Any

from meterlink.calibration.claim import after_dark, in_words, withdrawn
from meterlink.calibration.faults import Fault, name_faults
from meterlink.calibration.findings import Findings, Row
from meterlink.records import Calibration, Identity, new_id
from meterlink.words.claim import kept

SCHEMA = "meterlink-certificate-1"
HARMLESS = ("dome plane",)
"""Faults that leave the light at the dome right."""
WORDS = {"pass": "pass", "fail": "FAIL", "unsure": "unsure", "left out": "left out"}
STRIP, STRIP_LIMITS = 17, 1.33
"""Characters of a row's strip, and how many limits it reaches to either side."""


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
    named = name_faults(findings, receptor or calibration.receptor) if faults is None else faults
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
            {"name": r.name, "what": r.what, "figure": r.figure, "u95": 2 * r.u, "limit": r.limit, "unit": r.unit,
             "outcome": r.outcome}
            for r in findings.rows
        ],
        "faults": [f._asdict() for f in named],
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


def as_text(record: dict[str, Any]) -> str:
    """Return the certificate as plain lines, 110 columns; a strip shows where each figure lies between its limits."""
    lines = [
        f"Acceptance of sensor {_clean(record['sensor_name'])} ({_clean(record['sensor_id'])}), {_date(record)}",
        f"firmware {_clean(record['firmware']) or 'not known'}, {record['receptor']}, calibration "
        f"{record['calibration_method']} {record['calibration_id'][:12]}",
        "",
        f"{'check':<54} {'figure (k=2)':>20} {'limit':>9}  {'-limit+':^{STRIP}}  outcome",
    ]
    lines += [
        f"{row['what'][:54]:<54} {_figure(row):>20} {_limit(row):>9}  {_strip(row)}  {WORDS[row['outcome']]}".rstrip()
        for row in record["rows"]
    ]
    lines.append("")
    if any(row["outcome"] == "unsure" for row in record["rows"]):
        lines.append("unsure: known too little to say; take these steps again with more care (tape, lamp warm, nothing moving)")
    for fault in record["faults"]:
        lines += [f"probable cause: {fault['name']}: {fault['evidence']}", f"  {fault['remedy']}"]
    lines += _claim(record)
    lines.append(f"verdict: {record['verdict']}")
    return "\n".join(lines) + "\n"


_STYLE = (
    "body{font:9.5pt/1.25 sans-serif;max-width:19cm;margin:1cm auto;color:#111}table{border-collapse:collapse;width:100%}"
    "td,th{border-bottom:1px solid #999;padding:.15cm .2cm;text-align:left}td.n{text-align:right;white-space:nowrap}"
    ".fail{font-weight:bold}@page{margin:1.5cm}"
)


def as_html(record: dict[str, Any]) -> str:
    """Return the certificate as one self-contained page that prints on one sheet; all text from outside is escaped."""
    e = html.escape
    rows = "".join(
        f'<tr class="{"fail" if row["outcome"] == "fail" else ""}"><td>{e(row["what"])}</td>'
        f'<td class="n">{e(_figure(row))}</td><td class="n">{e(_limit(row))}</td><td>{_plot(row)}</td>'
        f"<td>{e(WORDS[row['outcome']])}</td></tr>"
        for row in record["rows"]
    )
    faults = "".join(
        f"<p><strong>Probable cause: {e(f['name'])}.</strong> {e(f['evidence'])}. {e(f['remedy'])}.</p>" for f in record["faults"]
    )
    warmth = record["temperature_c"]
    place = "" if warmth is None else f", {warmth:.0f} °C"
    return (
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>Acceptance of a light sensor</title>'
        f"<style>{_STYLE}</style><h1>Acceptance of a light sensor</h1>"
        f"<p>{e(_clean(record['sensor_name']))}, id {e(_clean(record['sensor_id']))}, firmware "
        f"{e(_clean(record['firmware']) or 'not known')}, {e(record['receptor'])}. {e(_date(record))}{place}. "
        f"Calibration: {e(record['calibration_method'])}, {e(record['calibration_id'][:12])}.</p>"
        f"<table><tr><th>Check<th>Figure (k=2)<th>Limit<th>Between its limits<th>Outcome</tr>{rows}</table>{faults}"
        f"<p>{'<br>'.join(e(line.strip()) for line in _claim(record))}</p>"
        f"<p><strong>Verdict: {e(record['verdict'])}.</strong></p></html>"
    )


def _claim(record: dict[str, Any]) -> list[str]:
    claim = record.get("claim")
    if claim is None and record["calibration_method"] != "assumed":
        return ["this certificate states no light to which its calibration is good: run 'meterlink verify' again"]
    if claim is None:
        return ["no calibration yet: f-numbers are those of the design; run 'meterlink calibrate'"]
    return [_clean(line, 200) for line in in_words(claim, record["range_names"], record["constant"])]


def _date(record: dict[str, Any]) -> str:
    return time.strftime("%Y-%m-%d %H:%M UTC", time.gmtime(record["made_at_s"]))


def _clean(text: object, most: int = 60) -> str:
    """Text of a device: printable, at most so many characters."""
    return "".join(c for c in str(text)[:most] if c.isprintable())


def _figure(row: dict[str, Any]) -> str:
    if row["figure"] is None:
        return "-"
    unit = f" {row['unit']}" if row["unit"] in ("stop", "lx") else ""
    return f"{_number(row['figure'], row['unit'])} ± {_number(row['u95'], row['unit'])}{unit}"


def _strip(row: dict[str, Any]) -> str:
    """A figure as a star between its limits; beyond the strip it stands at its end."""
    if row["figure"] is None:
        return " " * STRIP
    half = STRIP // 2
    cells = [" "] * STRIP
    edge = round(half / STRIP_LIMITS)
    cells[half - edge] = cells[half + edge] = "|"
    cells[half] = ":"
    cells[half + max(-half, min(half, round(row["figure"] / row["limit"] * edge)))] = "*"
    return "".join(cells)


def _plot(row: dict[str, Any]) -> str:
    """The same drawn: limits as lines, the figure as a dot, k=2 as a bar."""
    if row["figure"] is None:
        return ""

    def x(value: float) -> float:
        return 60 + 58 * max(-1.0, min(1.0, float(value / row["limit"] / STRIP_LIMITS)))

    low, at, high = (x(row["figure"] + side * row["u95"]) for side in (-1, 0, 1))
    left, right = x(-row["limit"]), x(row["limit"])
    return (
        '<svg width="120" height="12" aria-hidden="true">'
        f'<path d="M{left:.1f} 1V11M{right:.1f} 1V11M60 4V8" stroke="#999"/>'
        f'<path d="M{low:.1f} 6H{high:.1f}" stroke="#111"/><circle cx="{at:.1f}" cy="6" r="2.5"/></svg>'
    )


def _limit(row: dict[str, Any]) -> str:
    return _number(row["limit"], row["unit"])


def _number(value: float, unit: str) -> str:
    if unit == "s":
        text = f"{value * 1e6:.0f} µs"
    elif unit == "m":
        text = f"{value * 100:.1f} cm"
    else:
        text = f"{value:.2%}" if unit == "of full scale" else f"{value:.2f}"
    # No minus before a zero that rounding has made.
    return text.removeprefix("-") if text.startswith("-") and not any(c in "123456789" for c in text) else text


def row_of(record: dict[str, Any], name: str) -> list[Row]:
    """Return the rows of one name of a stored certificate."""
    return [
        Row(r["name"], r["what"], r["figure"], r["u95"] / 2, r["limit"], r["unit"], r["outcome"])
        for r in record["rows"]
        if r["name"] == name
    ]
