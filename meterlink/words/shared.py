"""What terminal, app and page write alike: a row of the ratio table; and what several lights share, said once:
``distance not given, 0–6 cm toward the light assumed: HAIR, RIM, BG``.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import inf
from typing import NamedTuple

from meterlink.checks.findings import Finding
from meterlink.judging.reach import centimetres
from meterlink.tables.ratios import RatioRow
from meterlink.words.actions import Do
from meterlink.words.language import marked
from meterlink.words.told import NOTHING, Told, told, written

UNKNOWN = "–"
"""Stands where a figure is not known."""
RANKS = {3: marked("wrong"), 2: marked("doubtful"), 1: marked("caution"), 0: marked("note"), -1: marked("well")}
"""How a finding is marked, by the whole part of its rank."""
ASSUMED = {"reach_assumed": ("most_cm",), "both_assumed": ("most_cm",), "distance_assumed": ()}
"""Reasons that lights share, and what else has to be alike; the amounts stand in the table."""
TOGETHER = {
    "not_metered": "meter_lights", "stale": "meter_lights", "no_distance": "give_distance", "no_direction": "give_direction",
}  # fmt: skip
"""Findings that lights share, and what to do about all of them (or the first, one after the other)."""
NEAR, SLOW = "reach", "slow_flash"
"""These too; how near the dome must be, and how much the shutter takes, is each one's own."""


class Line(NamedTuple):
    """One thing found, about one light or several."""

    found: tuple[Finding, ...]
    """Whose line this is: several where lights share it."""
    said: Told
    to_do: Told

    @property
    def rank(self) -> float:
        """How bad the worst of them is."""
        return self.found[0].rank


def known(value: float | None, form: str) -> str:
    """Return a figure as ``written`` does, or the sign that it is not known."""
    return UNKNOWN if value is None else written(value, form)


def row_texts(row: RatioRow) -> list[str]:
    """Return as read, correction, at point, from key, ratio, share, t0.1, verdict and reason of a row, as they are written."""
    from_key = known(row.from_key_stops, "stops")
    if row.light_over_key == 1.0 and row.role == "key":
        from_key = "0"
    elif row.from_key_stops is not None and row.from_key_u95_stops is not None:
        from_key += f" ±{written(row.from_key_u95_stops, 'size')}"
    return [
        known(row.as_read_f, "f"),
        known(row.correction_stops, "stops2"),
        known(row.corrected_f, "f"),
        from_key,
        known(1.0 / row.light_over_key if row.light_over_key else None, "ratio"),
        UNKNOWN if row.share is None else f"{row.share * 100:.0f} %",
        known(row.t01_s or None, "duration"),
        str(told(row.verdict)) if row.verdict else UNKNOWN,
        row.reason,
    ]


def reasons(rows: Iterable[RatioRow]) -> list[Told]:
    """Return the reasons of a table's rows, each once, with the names of the lights that share it."""
    groups: dict[tuple[object, ...], list[tuple[str, Told]]] = {}
    for row in rows:
        for part in row.said.values["parts"] if row.said.code == "parts" else (row.said,):
            like = ASSUMED.get(part.code)
            key = (str(part),) if like is None else (part.code, *(part.values[name] for name in like))
            groups.setdefault(key, []).append((row.light, part))
    said = []
    for several in groups.values():
        names = tuple(light for light, _ in several)
        first = several[0][1]
        if len(several) > 1 and first.code in ASSUMED:
            said.append(told(f"shared_{first.code}", lights=names, **first.values))
        elif first:
            said.append(told("lights_say", lights=names, what=first))
    return said


def finding_lines(findings: Sequence[Finding]) -> list[Line]:
    """Return the findings in their order; what several lights share stands where the first of them does.

    What to do about findings one after the other is said once where it is the same, behind the last.
    """
    kinds: dict[str, list[Finding]] = {}
    for one in findings:
        kinds.setdefault(one.kind, []).append(one)
    lines: list[Line] = []
    for one in findings:
        alike = kinds[one.kind]
        if one.kind not in (*TOGETHER, NEAR, SLOW) or len(alike) < 2:
            if lines and one.to_do and str(lines[-1].to_do) == str(one.to_do):
                lines[-1] = lines[-1]._replace(to_do=NOTHING)
            lines.append(Line((one,), one.said, one.to_do))
        elif one is alike[0]:
            lines.append(_of_several(alike))
    return lines


def _of_several(alike: Sequence[Finding]) -> Line:
    first, names = alike[0], tuple(each.light for each in alike)
    if first.kind == SLOW:
        return _of_slow(alike)
    if first.kind != NEAR:
        do = told("do", do=Do(TOGETHER[first.kind], lights=names, light=names[0]))
        return Line(tuple(alike), told(f"shared_{first.kind}", lights=names), do)
    each = tuple(told("near_each", light=one.light, good_cm=centimetres(one.numbers["good_m"])) for one in alike)
    do = told("shared_near_do", each=each, do=Do("say_held", light=names[0], held="5cm"))
    return Line(tuple(alike), told("shared_near", lights=names, reach_m=first.said.values["reach_m"]), do)


def _of_slow(alike: Sequence[Finding]) -> Line:
    """Flashes that one shutter cuts short: its time once, what each loses, and the time that is long enough for all."""
    first, losses = alike[0], [(one.light, one.numbers["loss_stops"]) for one in alike]
    each = tuple(told("slow_all", light=light) if stops is None else told("slow_each", light=light, stops=stops)
                 for light, stops in losses)  # fmt: skip
    how = told("lost_in_a_band" if any(one.numbers["band_share"] for one in alike) else "lost_evenly")
    values = {name: first.said.values[name] for name in ("time_s", "open", "assumed") if name in first.said.values}
    said = told(f"shared_{first.said.code}", each=each, how=how, **values)
    advice = max((_innermost(one.to_do) for one in alike), key=lambda one: float(one.values.get("stops", inf)))
    if first.to_do.code == "camera_tells":
        advice = told("camera_tells", **{**first.to_do.values, "advice": advice})
    return Line(tuple(alike), said, advice)


def _innermost(advice: Told) -> Told:
    """The advice less what is for one light alone, or comes first."""
    return _innermost(advice.values["advice"]) if "advice" in advice.values else advice
