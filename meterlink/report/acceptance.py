"""What a calibration claims, and the certificate of its acceptance: as lines, as text and as a page to print."""

from __future__ import annotations

import html
import time
from collections.abc import Sequence
from typing import Any

from meterlink.photometry import exposure
from meterlink.units import format_duration, format_illuminance
from meterlink.words.actions import Do
from meterlink.words.language import language, marked, say, say_for, translated, with_decimal_sign
from meterlink.words.told import told_again, written

OUTCOMES = {"pass": marked("pass"), "fail": marked("FAIL"), "unsure": marked("unsure"), "left out": marked("left out")}
VERDICTS = {"passed": marked("passed"), "failed": marked("failed"), "open": marked("open")}
HEADS = (marked("Check"), marked("Figure (k=2)"), marked("Limit"), marked("Between its limits"), marked("Outcome"))
STRIP, STRIP_LIMITS = 17, 1.33
"""Characters of a row's strip, and how many limits it reaches to either side."""


def claim_lines(claim: dict[str, Any], names: Sequence[str], constant: float) -> list[str]:
    """Return a claim as lines: what it is about, then one line a range; f-numbers at ISO 100."""
    spans = list(zip(claim["steady_lx"], claim["flash_peak_lx"], strict=True))
    assumes = [f"  {told_again(words, 'claim_')}" for words in claim.get("assumes", ())]
    if not any(s or f for s, f in spans):
        return [say("no range is claimed: {why}", why=told_again(claim["why"], "claim_")), *assumes]
    lines = [
        say(
            "{what} to {stops:g} stop in {share:.0%} of readings, {aim}:",
            what=translated(_HEADS[claim["against"]]), stops=claim["stops"], share=claim["share"],
            aim=say("light up to {degrees:g}° off its axis", degrees=claim["angle_deg"]) if claim["angle_deg"]
            else say("dome aimed at the light"),
        )
    ]  # fmt: skip
    for i, (steady, flash) in enumerate(spans):
        what = []
        if steady:
            low, high = map(format_illuminance, steady)
            what.append(say("steady {low} to {high}", low=low, high=high))
        pulse_s = claim["flash_pulse_s"]
        if flash and pulse_s:
            low, high = (written(exposure.f_number(peak * pulse_s, 100.0, constant), "f") for peak in flash)
            what.append(say("flash {low} to {high} (pulses of {pulse})", low=low, high=high, pulse=format_duration(pulse_s)))
        lines.append(f"  {written(names[i], 'range') if i < len(names) else i}: {', '.join(what) or say('nothing')}")
    lines += [f"  {told_again(claim['why'], 'claim_')}"] if claim["why"] else []
    return [*lines, *assumes]


_HEADS = {
    "truth": marked("f-numbers good"),
    "reference": marked("f-numbers good against this reference"),
    "ratios": marked("ratios good"),
    "camera": marked("right for this camera: f-numbers good against it"),
}


def as_text(record: dict[str, Any]) -> str:
    """Return the certificate as plain lines, 110 columns; a strip shows where each figure lies between its limits."""
    lines = [
        say(
            "Acceptance of sensor {name} ({id}), {date}",
            name=_clean(record["sensor_name"]),
            id=_clean(record["sensor_id"]),
            date=_date(record),
        ),
        say("{firmware}, {receptor}, calibration {method} {id}", **_made_with(record)),
        "",
        f"{say('check'):<54} {say('figure (k=2)'):>20} {say('limit'):>9}  {say('-limit+'):^{STRIP}}  {say('outcome')}",
    ]
    for row in record["rows"]:
        what, figure, limit, outcome = _cells(row)
        lines.append(f"{what[:54]:<54} {figure:>20} {limit:>9}  {_strip(row)}  {outcome}".rstrip())
    lines.append("")
    if any(row["outcome"] == "unsure" for row in record["rows"]):
        lines.append(
            say("unsure: known too little to say; take these steps again with more care (tape, lamp warm, nothing moving)")
        )
    for fault in record["faults"]:
        name, evidence, remedy = _fault(fault)
        lines += [say("probable cause: {name}: {evidence}", name=name, evidence=evidence), f"  {remedy}"]
    lines += _claim(record)
    lines.append(say("verdict: {verdict}", verdict=translated(VERDICTS[record["verdict"]])))
    return "\n".join(lines) + "\n"


_STYLE = (
    "body{font:9.5pt/1.25 sans-serif;max-width:19cm;margin:1cm auto;color:#111}table{border-collapse:collapse;width:100%}"
    "td,th{border-bottom:1px solid #999;padding:.15cm .2cm;text-align:left}td.n{text-align:right;white-space:nowrap}"
    ".fail{font-weight:bold}@page{margin:1.5cm}"
)


def as_html(record: dict[str, Any]) -> str:
    """Return the certificate as one self-contained page that prints on one sheet; all text from outside is escaped."""
    e = html.escape
    rows = ""
    for row in record["rows"]:
        what, figure, limit, outcome = map(e, _cells(row))
        rows += (
            f'<tr class="{"fail" if row["outcome"] == "fail" else ""}"><td>{what}</td>'
            f'<td class="n">{figure}</td><td class="n">{limit}</td><td>{_plot(row)}</td><td>{outcome}</td></tr>'
        )
    faults = "".join(
        f"<p><strong>{e(say('Probable cause: {name}.', name=name))}</strong> {e(evidence)}. {e(remedy)}.</p>"
        for name, evidence, remedy in map(_fault, record["faults"])
    )
    warmth = record["temperature_c"]
    place = "" if warmth is None else f", {warmth:.0f} °C"
    title = say("Acceptance of a light sensor")
    return (
        f'<!doctype html><html lang="{language()}"><meta charset="utf-8"><title>{e(title)}</title>'
        f"<style>{_STYLE}</style><h1>{e(title)}</h1>"
        f"<p>{e(_clean(record['sensor_name']))}, {e(_clean(record['sensor_id']))}. {e(_date(record))}{place}. "
        f"{e(say('{firmware}, {receptor}, calibration {method} {id}', **_made_with(record)))}.</p>"
        f"<table><tr>{''.join(f'<th>{e(translated(head))}' for head in HEADS)}</tr>{rows}</table>{faults}"
        f"<p>{'<br>'.join(e(line.strip()) for line in _claim(record))}</p>"
        f"<p><strong>{e(say('verdict: {verdict}', verdict=translated(VERDICTS[record['verdict']])))}</strong></p></html>"
    )


def _made_with(record: dict[str, Any]) -> dict[str, str]:
    firmware = _clean(record["firmware"])
    return {
        "firmware": say("firmware {version}", version=firmware) if firmware else say("firmware not known"),
        "receptor": written(record["receptor"], "receptor"),
        "method": say_for("method", record["calibration_method"]),
        "id": record["calibration_id"][:12],
    }


def _cells(row: dict[str, Any]) -> tuple[str, str, str, str]:
    """What was checked, its figure, its limit and the outcome."""
    figure = "-"
    if row["figure"] is not None:
        unit = {"stop": f" {say_for('unit', 'stop')}", "lx": " lx"}.get(row["unit"], "")
        figure = f"{_number(row['figure'], row['unit'])} ± {_number(row['u95'], row['unit'])}{unit}"
    what, limit = _clean(told_again(row["what"]), 200), _number(row["limit"], row["unit"])
    return what, figure, limit, translated(OUTCOMES[row["outcome"]])


def _fault(fault: dict[str, Any]) -> tuple[str, str, str]:
    return translated(fault["name"]), str(told_again(fault["evidence"])), str(told_again(fault["remedy"]))


def _claim(record: dict[str, Any]) -> list[str]:
    claim = record.get("claim")
    if claim is None and record["calibration_method"] != "assumed":
        return [say("this certificate states no light to which its calibration is good: verify again: {do}", do=Do("verify"))]
    if claim is None:
        return [say("no calibration yet: f-numbers are those of the design: {do}", do=Do("calibrate"))]
    return [_clean(line, 200) for line in claim_lines(claim, record["range_names"], record["constant"])]


def _date(record: dict[str, Any]) -> str:
    return time.strftime("%Y-%m-%d %H:%M UTC", time.gmtime(record["made_at_s"]))


def _clean(text: object, most: int = 60) -> str:
    """Text of a device: printable, at most so many characters."""
    return "".join(c for c in str(text)[:most] if c.isprintable())


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


def _number(value: float, unit: str) -> str:
    if unit == "s":
        text = f"{value * 1e6:.0f} µs"
    elif unit == "m":
        text = f"{value * 100:.1f} cm"
    else:
        text = f"{value:.2%}" if unit == "of full scale" else f"{value:.2f}"
    # No minus before a zero that rounding has made.
    return with_decimal_sign(text.removeprefix("-") if text.startswith("-") and not any(c in "123456789" for c in text) else text)
