"""Your heads and modifiers by the names you gave them: favourites, where they were used, and what was learnt of them.

examples:
  meterlink kit list
  meterlink kit show "head A"              what its dial delivers, how long and of what colour it flashes
  meterlink kit show "round softbox 90"    its size, and how it falls off where that was measured
  meterlink kit mark "head A"              a favourite stands first in the list
  meterlink kit unmark "head A"
  meterlink kit list --json

Everything is learnt from your own readings: name heads and modifiers with 'meterlink light change KEY --fixture NAME
--modifier NAME', the same in every set-up.
"""

from __future__ import annotations

import argparse
from math import log2
from typing import Any

from meterlink import units
from meterlink.cli.completing import KIT
from meterlink.cli.frame import JSON, Action, actions, open_library, option, out, print_json, print_rows
from meterlink.judging.fixture_curves import FixtureCurves, curves_of
from meterlink.judging.judge import Judge
from meterlink.judging.learnt_dial import power_words
from meterlink.library.kit import HEAD, Piece, mark, piece, pieces
from meterlink.library.store import Library
from meterlink.library.whole_sets import sets_elsewhere
from meterlink.photometry.freeze import ReadCurve
from meterlink.photometry.sources import Point, source_of
from meterlink.words.actions import Do
from meterlink.words.language import say, say_count, say_for
from meterlink.words.placed import source_text
from meterlink.words.shared import UNKNOWN, known
from meterlink.words.told import put, written

EVERY_SET = "0" * 32
"""No set-up has this id: none is left out of what a head gave elsewhere."""
SHOWN_M = (0.5, 0.7, 1.0, 1.4, 2.0, 2.8)


def run(args: argparse.Namespace) -> None:
    """Do the action."""
    with open_library(args, create=False) as library:
        args.do(args, library)


def _mark(args: argparse.Namespace, library: Library) -> None:
    favourite = args.action == "mark"
    mark(library, args.name, favourite)
    out("{name} is a favourite" if favourite else "{name} is no favourite", name=args.name)


def _list(args: argparse.Namespace, library: Library) -> None:
    found = pieces(library)
    if args.json:
        print_json([_plain(one) for one in found])
    elif not found:
        out("no heads or modifiers are named yet: {do}", do=Do("name_head"))
    else:
        rows = [
            ("★" if p.favourite else "", p.name, say_for("piece", p.kind), str(p.sets), written(p.last_used_s, "date"))
            for p in found
        ]
        print_rows(("", "name", "what", "set-ups", "last in"), rows, right="lllrl")


def _plain(one: Piece) -> dict[str, Any]:
    return {name: getattr(one, name) for name in ("name", "kind", "sets", "last_used_s", "favourite")}


def _show(args: argparse.Namespace, library: Library) -> None:
    found = piece(library, args.name)
    if args.json:
        learnt = [_head_data(library, one) if one.kind == HEAD else _modifier_data(library, one) for one in found]
        print_json([{**_plain(one), **data} for one, data in zip(found, learnt, strict=True)])
        return
    for one in found:
        sets = say_count("in {count} set-up", "in {count} set-ups", one.sets)
        star = [say("a favourite")] if one.favourite else []
        print(f"{one.name}: {', '.join([say_for('piece', one.kind), sets, *star])}")
        if one.kind == HEAD:
            _print_head(library, one)
        else:
            _print_modifier(library, one)


def curves(library: Library, one: Piece) -> FixtureCurves:
    """What a head's readings in all set-ups say over its power."""
    sets = sets_elsewhere(library, EVERY_SET, one.names)
    calibrations = {i: library.calibration(i) for i in {r.calibration_id for known in sets for r in known.readings}}
    return curves_of(Judge(library.settings(), calibrations).heads(sets, one.names).pasts, one.name)


def _head_data(library: Library, one: Piece) -> dict[str, Any]:
    dial = {name: getattr(one.light, name) for name in ("power_step_stops", "power_min_stops", "full_power_j")}
    return {**dial, **curves_data(curves(library, one))}


def curves_data(learnt: FixtureCurves) -> dict[str, Any]:
    """What was learnt of a head over its power, as JSON data."""
    return {
        "readings": learnt.readings,
        "t01_s": _pairs(learnt.durations),
        "delivered": _pairs(learnt.exposures),
        "colours": learnt.colours,
    }


def _pairs(curve: ReadCurve | None) -> list[tuple[float, float]]:
    return [] if curve is None else list(zip(curve.power_stops, curve.values, strict=True))


def _print_head(library: Library, one: Piece) -> None:
    light = one.light
    dial = [say("step {step:.2g} stop", step=light.power_step_stops)] if light.power_step_stops else []
    if light.power_min_stops is not None:
        dial.append(put("lowest {power:figure}", power=units.format_power(light.power_min_stops)))
    dial += [say("full {joules:g} J", joules=light.full_power_j)] if light.full_power_j else []
    if dial:
        out("dial: {parts:,}", parts=dial)
    learnt = curves(library, one)
    delivered, durations = dict(_pairs(learnt.exposures)), dict(_pairs(learnt.durations))
    colours = {point.power_stops: point for point in learnt.colours}
    powers = sorted({*delivered, *durations, *colours}, reverse=True)
    print(say_count("learnt from {count} reading", "learnt from {count} readings", learnt.readings), end="" if powers else ": ")
    if not powers:
        out("nothing yet over its power; meter it at two powers or more, the light standing still")
        return
    print()
    top = max(delivered, default=0.0)
    rows = []
    for power in powers:
        error = known(log2(delivered[power]) - (power - top) if power in delivered else None, "stops2")
        colour = f"{1e6 / colours[power].mired:.0f} K" if power in colours else UNKNOWN
        position = written(power_words(light, power), "figure")
        rows.append((position, error, known(durations.get(power), "duration"), colour))
    print_rows(("power", "off its dial by", "t0.1", "colour"), rows, right="lrrr")


def _modifier_data(library: Library, one: Piece) -> dict[str, Any]:
    falloff = library.falloff(one.name)
    size = {name: getattr(one.placement, name, None) for name in ("shape", "width_m", "height_m")}
    return {**size, "falloff": falloff.to_record() if falloff else None}


def _print_modifier(library: Library, one: Piece) -> None:
    p = one.placement
    if p is not None:
        recess = [put("recess {depth:length}", depth=p.recess_m)] if p.recess_m else []
        out("last as {parts:,}", parts=[source_text(p), *recess])
    fit = library.falloff(one.name)
    if fit is None:
        out("its falloff was never measured: {do}", do=Do("falloff"))
    else:
        out("falloff measured from {near:length} to {far:length}; against 1 m:", near=fit.near_m, far=fit.far_m)
    source = source_of(*p.surface) if p is not None else Point()
    rows = []
    for d in SHOWN_M:
        measured = fit.change_stops(1.0, d) if fit is not None and fit.low_m <= d <= fit.high_m else None
        changes = (measured, source.change_stops(1.0, d), Point().change_stops(1.0, d))
        rows.append((written(d, "length"), *(known(change, "stops2") for change in changes)))
    print_rows(("distance", "measured", "by its size", "inverse square"), rows, right="rrrr")


NAME = option("name", offers=KIT)
OPTIONS = [actions(
    list=Action(_list, "all heads and modifiers, favourites first", [JSON]),
    show=Action(_show, "what was learnt of one", [NAME, JSON]),
    mark=Action(_mark, "make it a favourite", [NAME]),
    unmark=Action(_mark, "no longer a favourite", [NAME]),
)]
