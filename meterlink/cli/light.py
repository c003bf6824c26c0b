"""Add, move, show, list and remove the lights of the set-up.  Moving or re-powering makes the old reading stale.

examples:
  meterlink light add KEY "octa 90" 1.2m 40 30 1/4
  meterlink light add FILL 60x90cm 4ft6 -50
  meterlink light add CARD 80x120cm 70cm -60 --role fill --reflector-of KEY
  meterlink light add              asks for the same things in turn
  meterlink light move KEY 1m 1/8
  meterlink light change KEY --power 1/8
  meterlink light move KEY --gel none --modifier "octa 120"
  meterlink light KEY                       where it stands
  meterlink light show KEY
  meterlink light remove CARD
  meterlink light list

In the order of a diagram: name, head or modifier, distance, azimuth, elevation,
power; what the kit knows of them (size, head, dial) is filled in, and KEY,
FILL, HAIR, RIM or BACKGROUND says its role.  'move' and 'change' are one.
Distance is from the emitting surface (front fabric, canopy, rim) to the dome at
the light's point.  Azimuth: 0 is the camera's side, + to camera right, 180
behind the subject.  Elevation: + is above the face.
Lights overhead: weigh down stands and booms, secure heads with a safety cable,
and follow your local rules.
"""

from __future__ import annotations

import argparse
import re
import time
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from meterlink import units
from meterlink.cli.as_typed import number
from meterlink.cli.completing import FIXTURES, KIT, LIGHTS, MODIFIERS, ROLE_NAMES
from meterlink.cli.described import FROM_MODIFIER, ask, from_kit, place_from_kit, read_words, role_of, size_in_name
from meterlink.cli.frame import JSON, SETUP, Action, actions, one_of, open_set, option, out, print_json, print_rows
from meterlink.errors import UnitError, UsageError
from meterlink.judging.learnt_dial import scale_top
from meterlink.library.store import Library
from meterlink.metering.opened_set import OpenedSet
from meterlink.records import Light, Placement, Setup, new_id
from meterlink.records.kept import ROLES
from meterlink.records.placement_rules import only_tells
from meterlink.words.actions import Do
from meterlink.words.language import marked, say
from meterlink.words.placed import direction_text, place_text, source_text
from meterlink.words.told import put, told, written


def _emission(text: str) -> float:
    value = number(text)
    if not 0 <= value <= 200:
        raise UnitError(
            "emission '{typed}' cannot be read: give the exponent of the cosine, 1 (diffuser) to 200", text, typed=text[:20]
        )
    return value


def _grid(text: str) -> float:
    degrees = units.parse_angle(text)
    if not 0.0 < degrees <= 180.0:
        raise UnitError("a grid of '{typed}' cannot be: give its angle in degrees, e.g. 40", text, typed=text[:20])
    return degrees


Parse = Callable[[str], Any]
PLACEMENT_OPTIONS: tuple[tuple[str, str, Parse | None, str, str], ...] = (
    # option, field of the placement, how it is read, placeholder, help
    ("--distance", "distance_m", units.parse_distance, "L", "emitting surface to the dome, e.g. 1.2m, 4ft6"),
    ("--distance-u", "u_distance_m", units.parse_length, "L", "how sure the distance is (standard uncertainty), e.g. 2cm"),
    ("--azimuth", "azimuth_deg", partial(units.parse_angle, upward=False), "DEG", "0 camera axis, + camera right, 180 behind"),
    ("--elevation", "elevation_deg", partial(units.parse_angle, upward=True), "DEG", "+ above the face"),
    ("--feather", "feather_deg", units.parse_angle, "DEG", "how far the source is turned away from its point"),
    ("--power", "power_stops", None, "P", "in the fixture's own scale: 1/4, 1/4+0.3, -2.3, 6.3, 200J"),
    ("--emission", "emission_n", _emission, "N", "beam falls as cos^N: 1 is a diffuser, more is narrower"),
    ("--recess", "recess_m", units.parse_length, "L", "depth of the tube behind the rim of a bare reflector"),
    ("--grid", "grid_deg", _grid, "DEG", "grid, e.g. 40"),
    ("--gel", "gel", str, "NAME", "gel on the light"),
    ("--diffusers", "diffusers", str, "TEXT", "e.g. 'inner baffle and front'"),
    ("--stand-height", "stand_height_m", units.parse_length, "L", "height of the source above the floor"),
    ("--aimed-at", "aimed_at", str, "TEXT", "what it is aimed at"),
)
"""What is read of a placement; a power needs the light's own scale (``_power``)."""
SHOWN = (marked("  point: {text}"), marked("  head: {text}"), marked("  modifier: {text}"))
FLAGS = ("--bare", "--shared-generator", "--as-metered", "-h", "--help")
"""Options that nothing follows."""
GONE = "none"
"""Typed for a gel, a grid, ...: there is none any more."""


def written_out(words: Sequence[str]) -> list[str]:
    """``light KEY`` shows it, ``light`` alone lists all."""
    if not words:
        return ["list"]
    if words[0] in ("add", "move", "change"):
        return [words[0], *_words_first(words[1:])]
    known = words[0] in ("show", "list", "remove") or words[0].startswith("-")
    return list(words) if known else ["show", *words]


def _words_first(words: Sequence[str]) -> list[str]:
    """Options may stand between the words of a diagram: the words go before them."""
    plain, options = [], []
    rest = list(words)
    while rest:
        word = rest.pop(0)
        if not word.startswith("-"):
            plain.append(word)
            continue
        options.append(word)
        if "=" not in word and word not in FLAGS and rest:
            options.append(rest.pop(0))
    return [*plain, *options]


def run(args: argparse.Namespace) -> None:
    """Do the action."""
    with open_set(args, OpenedSet) as session:
        args.do(args, session)


def _add(args: argparse.Namespace, session: OpenedSet) -> None:
    if args.name is None:
        ask(args, session, lambda so_far: _described(so_far, session))
    light, placement = _described(args, session)
    key = session.view().key
    session.add_light(light, placement)
    print(describe(light, placement))
    _say_size(light, placement, args.taken)
    if key is not None and light.role == "key":
        out("! {key} is the key already: stops and ratios are from {key}", key=key.light.name)


def _say_size(light: Light, placement: Placement | None, taken: str | None) -> None:
    """Say a size that was taken from the modifier's name; one that nobody knows is corrected as a point: near it, too much."""
    if placement is None or not light.modifier:
        return
    if taken:
        source = source_text(placement)
        out("{modifier}: taken as {source}; --{option} otherwise", modifier=light.modifier, source=source, option=taken)
    elif placement.shape == "point" and light.role != "background":
        option, size, _ = size_in_name(light.modifier)
        do = Do("give_size", light=light.name, option=option, size=size)
        out("! the size of '{modifier}' is not known, a small source is assumed: {do}", modifier=light.modifier, do=do)


def _described(args: argparse.Namespace, session: OpenedSet) -> tuple[Light, Placement]:
    """Return the light that was typed, not stored yet.  Raises what is wrong with it."""
    if any(one.name.casefold() == args.name.strip().casefold() for one in session.lights()):
        raise UsageError("there is a light {light} already: {move}", light=args.name, move=Do("move_light", light=args.name))
    pieces = read_words(args, session)
    if args.role is None:
        args.role = role_of(args.name)
    if args.role is None:
        raise UsageError("{light}: say what it does: --role key, fill, hair, rim, background or other", light=args.name)
    source = session.light(args.reflector_of).id if args.reflector_of else None
    light = Light(new_id(), session.setup.id, args.name.strip(), "other", order=len(session.lights()), source_light_id=source)
    light = light._replace(**from_kit(pieces, session))
    light = light._replace(**_light_changes(args, light))
    if args.point is None and light.role in ("hair", "rim", "background"):
        light = light._replace(point=light.role)
    placement = Placement(new_id(), light.id, time.time())
    return light, placement._replace(**{**place_from_kit(pieces), **_placement_changes(args, light)})


def _move(args: argparse.Namespace, session: OpenedSet) -> None:
    light = session.light(args.name)
    pieces = read_words(args, session)
    changes = {**from_kit(pieces, session, but=light), **_light_changes(args, light)}
    if args.rename:
        changes["name"] = args.rename.strip()
    changed = light._replace(**changes)
    bare = {name: Placement._field_defaults[name] for name in FROM_MODIFIER} if changes.get("modifier") == "" else {}
    moved = {**bare, **place_from_kit(pieces), **_placement_changes(args, changed)}
    if not changes and not moved:
        raise UsageError("{light}: say what changed, e.g. --distance 1.2m or --power 1/8", light=light.name)
    if changes:
        session.library.revise_light(changed)
    before = placement = session.placement(light.id)
    if moved:
        placement = session.move(session.light(changed.name), as_metered=args.as_metered, **moved)
    print(describe(changed, placement))
    if before is not None and placement is not None and only_tells(before, placement) and _reads(session, light):
        do = Do("meter", light=changed.name)
        out("where it stood was not known: what it read still counts; if it was moved since, {do}", do=do)
    if args.modifier:
        _say_size(changed, placement, args.taken)


def _reads(session: OpenedSet, light: Light) -> bool:
    state = session.view().state(light.id)
    return state is not None and state.reading is not None


def _show(args: argparse.Namespace, session: OpenedSet) -> None:
    light = session.light(args.name)
    print(describe(light, session.placement(light.id)))
    for line, text in zip(SHOWN, (written(light.point, "point"), light.fixture, light.modifier), strict=True):
        if text:
            out(line, text=text)
    state = session.view().state(light.id)
    if state is not None and state.judged is not None:
        print(f"  {told(state.judged.verdict.value)}: {state.judged.reason}")


def _remove(args: argparse.Namespace, session: OpenedSet) -> None:
    if args.back:
        out("{light} is in the set again, with its readings", light=session.bring_back(args.name).name)
        return
    light = session.light(args.name)
    session.remove(light)
    out("{light} is out of the set; its readings are kept: {do}", light=light.name, do=Do("bring_light_back", light=light.name))


def _light_changes(args: argparse.Namespace, light: Light) -> dict[str, Any]:
    changes: dict[str, Any] = {}
    if args.role is not None:
        changes["role"] = args.role.strip().lower()
        if changes["role"] not in ROLES:
            raise UsageError("there is no role '{role}': key, fill, hair, rim, background or other", role=args.role[:20])
    for name in ("point", "fixture", "modifier"):
        if getattr(args, name) is not None:
            text = getattr(args, name).strip()
            changes[name] = "" if text.lower() == GONE and name != "point" else text
    if args.shared_generator:
        changes["shared_generator"] = True
    if args.power_step is not None:
        step = abs(units.parse_stops(args.power_step, "power step", 3))
        if step < 0.01:
            raise UsageError(
                "a power step of {power_step} stops cannot be: give the dial's smallest step, e.g. 1/10 or 1/3",
                power_step=args.power_step,
            )
        changes["power_step_stops"] = step
    if args.full_power is not None:
        changes["full_power_j"] = _joules(args.full_power)
    if args.scale_top is not None:
        changes["details"] = {**light.details, "scale_top": units.parse_stops(args.scale_top, "scale top", 30)}
    if args.power_min is not None:
        light = light._replace(**changes)
        changes["power_min_stops"] = units.parse_power(args.power_min, light.full_power_j, scale_top(light))
    return changes


def _joules(text: str) -> float:
    value = number(text.strip().lower().removesuffix("ws").removesuffix("j"))
    if not 0 < value < 1e5:
        raise UnitError("full power '{typed}' cannot be read: give joules, e.g. 400J", text, typed=text[:20])
    return value


def _placement_changes(args: argparse.Namespace, light: Light) -> dict[str, Any]:
    changes: dict[str, Any] = {}
    for flag, field, parse, *_ in PLACEMENT_OPTIONS:
        text = getattr(args, flag[2:].replace("-", "_"))
        if text is not None and parse is not None:
            gone = text.strip().lower() == GONE
            changes[field] = Placement._field_defaults[field] if gone else parse(text)
    if args.power is not None:
        changes |= {"power_text": args.power.strip(), "power_stops": _power(args.power, light)}
    changes |= _shape(args)
    return changes


def _power(text: str, light: Light) -> float:
    top = scale_top(light)
    try:
        return units.parse_power(text, light.full_power_j, top)
    except UnitError as problem:
        found = re.fullmatch(r"[0-9.,]+ ?(j|ws)?", text.strip(), re.IGNORECASE)
        if found is None or (light.full_power_j if found[1] else top) is not None:
            raise
        missing = marked("{problem}: --full-power 400J") if found[1] else marked("{problem}: --scale-top 10")
        raise UsageError(missing, problem=problem) from None


def _shape(args: argparse.Namespace) -> dict[str, Any]:
    if args.disk:
        size = units.parse_size(args.disk, "disk")
        if size.height_m is not None:
            raise UsageError("a disk has one size: --disk 90cm, or --rectangle {disk}", disk=args.disk)
        return {"shape": "disk", "width_m": size.width_m, "height_m": None}
    if args.rectangle:
        size = units.parse_size(args.rectangle, "rectangle")
        if size.height_m is None:
            raise UsageError("a rectangle has two sizes: --rectangle 60x90cm, or --disk {rectangle}", rectangle=args.rectangle)
        return {"shape": "rectangle", "width_m": size.width_m, "height_m": size.height_m}
    if args.bare:
        return {"shape": "point", "width_m": None, "height_m": None}
    return {}


def describe(light: Light, placement: Placement | None) -> str:
    """One line about a light: ``KEY (key): disk 90 cm, 1.2 m, 40° right, 30° up, power 1/4``."""
    return put("{light} ({role:role}): {place}", light=light.name, role=light.role, place=place_text(light, placement))


def light_rows(library: Library, setup: Setup) -> list[dict[str, Any]]:
    """Lights of a set-up with their present placement, as data."""
    placements = library.current_placements(setup.id)
    return [{**light._asdict(), "placement": placements.get(light.id)} for light in library.lights(setup.id)]


def print_lights(library: Library, setup: Setup) -> None:
    """Print the lights as a table."""
    placements = library.current_placements(setup.id)
    rows = []
    for light in library.lights(setup.id):
        p = placements.get(light.id)
        who = (light.name, written(light.role, "role"), written(light.point, "point"))
        if p is None:
            rows.append((*who, say("not placed"), "", "", ""))
            continue
        distance = written(p.distance_m, "length") if p.distance_m else say("not given")
        power = written(p.power_text, "figure") or say("passive" if light.source_light_id else "not given")
        rows.append((*who, source_text(p), distance, direction_text(p.azimuth_deg, p.elevation_deg), power))
    if not rows:
        out("no lights yet: {do}", do=Do("add_light"))
        return
    print_rows(("light", "role", "point", "source", "distance", "from", "power"), rows)


def _list(args: argparse.Namespace, session: OpenedSet) -> None:
    if args.json:
        print_json(light_rows(session.library, session.setup))
    else:
        print_lights(session.library, session.setup)


NAME = option("name", offers=LIGHTS)
DESCRIBED = (
    option("words", nargs="*", metavar="WORD", help="octa 90, 1.2m, 40, 30, 1/4: as in a diagram", offers=KIT),
    SETUP,
    *(option(flag, metavar=meta, help=text) for flag, _, _, meta, text in PLACEMENT_OPTIONS),
    one_of(
        option("--disk", metavar="D", help="round source, e.g. 90cm"),
        option("--rectangle", metavar="WxH", help="e.g. 60x90cm, 14x39in"),
        option("--bare", action="store_true", help="small source, a point (default)"),
    ),
    option("--role", metavar="key|fill|hair|rim|background|other", help="what it does", offers=ROLES),
    option("--point", metavar="NAME", help="where it is metered: face (default), hair, ..."),
    option("--fixture", metavar="NAME", help="your name of the head; learnt facts go with it", offers=FIXTURES),
    option("--modifier", metavar="NAME", help="your name of the modifier; measured falloff goes with it", offers=MODIFIERS),
    option("--power-step", metavar="STOPS", help="smallest step of its dial, e.g. 1/10"),
    option("--power-min", metavar="P", help="lowest power, e.g. 1/256"),
    option("--scale-top", metavar="N", help="top number of a one-stop numeric scale, e.g. 10"),
    option("--full-power", metavar="J", help="energy at full power, e.g. 400J"),
    option("--shared-generator", action="store_true", default=None, help="shares one with other heads"),
)
OPTIONS = [actions(
    add=Action(_add, "a new light", [
        option("name", nargs="?", offers=ROLE_NAMES), *DESCRIBED,
        option("--reflector-of", metavar="LIGHT", help="passive: lit by that light", offers=LIGHTS),
    ]),
    move=Action(_move, "a new place, power, grid, ...; also name, role, head, modifier", [
        NAME, *DESCRIBED,
        option("--as-metered", action="store_true", help="it stood so when it was metered: its readings stay"),
        option("--rename", metavar="NAME"),
    ], ["change"]),
    show=Action(_show, "one light: where it stands, what it is", [NAME, SETUP]),
    list=Action(_list, "all lights and where they stand", [JSON, SETUP]),
    remove=Action(_remove, "take a light out of the set; its readings are kept", [
        NAME, option("--back", action="store_true", help="one that was taken out is in the set again"), SETUP,
    ]),
)]  # fmt: skip
