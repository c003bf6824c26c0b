"""Make, list, show, change and choose set-ups; every reading belongs to one.

examples:
  meterlink setup new "Low key, two strips" --iso 100 --shutter 1/160
  meterlink setup list
  meterlink setup use "Low key, two strips"
  meterlink setup show
  meterlink setup change --shutter 1/125 --filter 4x --camera-offset +0.3
  meterlink setup change --shutter-kind focal-plane --sync 1/200 --movement hands --pixel-pitch 4.3um
  meterlink setup change --face-height 1.25m --backdrop "grey paper" --backdrop-distance 1.6m --reference-picture best.jpg
  meterlink setup change --tag "low key" --tag potter --subject "potter, seated"
  meterlink setup list --search "low key"
  meterlink setup copy "Low key, two strips" "Low key, tall"     the old one as template
  meterlink setup archive "Low key, tall"                        out of the list, nothing is lost
  meterlink setup unarchive "Low key, tall"
"""

from __future__ import annotations

import argparse
import time
from typing import Any

from meterlink import units
from meterlink.cli.completing import SETUPS
from meterlink.cli.facts import add_fact_options, changed_details, fact_lines
from meterlink.cli.frame import JSON, Action, actions, open_library, option, out, print_json, print_rows
from meterlink.cli.light import light_rows, print_lights
from meterlink.demo import free_name
from meterlink.errors import UnitError, UsageError
from meterlink.library.rows import name_key
from meterlink.library.store import Library
from meterlink.metering.rebuild import copied_setup
from meterlink.photometry.exposure import filter_stops
from meterlink.records import Setup, new_id
from meterlink.words.actions import Do
from meterlink.words.language import marked, say, say_count
from meterlink.words.told import put, written

SHOWN = (marked("subject: {text}"), marked("tags: {text}"), marked("notes: {text}"))


def run(args: argparse.Namespace) -> None:
    """Do the action."""
    with open_library(args, create=args.action == "new") as library:
        args.do(args, library)


def _camera_changes(args: argparse.Namespace, details: dict[str, Any]) -> dict[str, Any]:
    """What was typed, as fields of a set-up; ``details`` are its facts so far."""
    changes: dict[str, Any] = {name: getattr(args, name) for name in ("notes", "subject") if getattr(args, name) is not None}
    if args.iso is not None:
        changes["iso"] = units.parse_iso(args.iso)
    if args.shutter is not None:
        changes["shutter_s"] = units.parse_shutter(args.shutter)
    if args.camera_offset is not None:
        changes["camera_offset_stops"] = units.parse_stops(args.camera_offset, "camera offset", 10)
    if args.filter is not None:
        changes["filter_stops"] = _filter_stops(args.filter)
    if args.tag is not None:
        changes["tags"] = tuple(dict.fromkeys(" ".join(tag.split()) for tag in args.tag if tag.strip()))
    facts = changed_details(args, details)
    if facts is not None:
        changes["details"] = facts
    return changes


def _filter_stops(text: str) -> float:
    """``4x`` is a factor, ``2 stops`` or ``2`` are stops."""
    plain = text.strip().lower().replace("×", "x")
    try:
        stops = filter_stops(float(plain[:-1])) if plain.endswith("x") else units.parse_stops(plain, "filter", 20)
    except ValueError as error:
        raise UnitError(
            "filter '{typed}' cannot be read: give a factor such as 4x, or stops such as 2", text, typed=text[:20]
        ) from error
    if stops < 0:
        raise UnitError("filter '{typed}' would add light: give 0 stops or more", text, typed=text[:20])
    return stops


def _new(args: argparse.Namespace, library: Library) -> None:
    setup = Setup(new_id(), args.name, time.time())._replace(**_camera_changes(args, {}))
    library.add_setup(setup)
    library.use_setup(setup.id)
    out("{setup}: new set-up, in use now; next: {do}", setup=setup.name, do=Do("add_light"))


def _list(args: argparse.Namespace, library: Library) -> None:
    used = library.setup_in_use()
    setups = library.setups(include_archived=args.archived, search=args.search)
    if args.json:
        print_json([{**s._asdict(), "current": s.id == used} for s in setups])
        return
    if not setups:
        hidden = len(library.setups(include_archived=True))
        if args.search:
            out("no set-up has '{text}' in it", text=args.search)
        elif hidden:
            out("every set-up is archived ({count}): {do}", count=hidden, do=Do("list_archived"))
        else:
            out("no set-ups yet: {new}, or {demo}", new=Do("new_setup"), demo=Do("demo"))
        return
    names = [name_key(s.name) for s in setups]
    twins = [s for s, name in zip(setups, names, strict=True) if names.count(name) > 1]
    ids = dict(zip((s.id for s in twins), library.short_ids(twins), strict=True))
    rows = [
        ("*" if s.id == used else "", s.name, written(s.created_at_s, "date"), str(len(library.lights(s.id))),
         s.subject, _marks(s), ids.get(s.id, ""))
        for s in setups
    ]  # fmt: skip
    print_rows(("", "set-up", "made on", "lights", "subject", "tags", "id" if twins else ""), rows, right="lllrlll")


def _marks(setup: Setup) -> str:
    return ", ".join([*setup.tags, *([say("archived")] if setup.archived else [])])


def _show(args: argparse.Namespace, library: Library) -> None:
    setup = library.setup(args.name)
    if args.json:
        print_json({**setup._asdict(), "lights": light_rows(library, setup)})
        return
    print(camera_line(setup))
    for line, text in zip(SHOWN, (setup.subject, _marks(setup), setup.notes), strict=True):
        if text:
            out(line, text=text)
    for line in fact_lines(setup.details):
        print(line)
    print_lights(library, setup)


def camera_line(setup: Setup) -> str:
    """One line: name, ISO, shutter, offset and filter."""
    parts = [units.format_iso(setup.iso)]
    parts.append(units.format_shutter(setup.shutter_s) if setup.shutter_s else say("shutter not given"))
    if setup.camera_offset_stops:
        parts.append(put("camera offset {stops:stops}", stops=setup.camera_offset_stops))
    if setup.filter_stops:
        parts.append(put("filter takes {stops:.1f} stops", stops=setup.filter_stops))
    return f"{setup.name}: {', '.join(parts)}"


def _use(args: argparse.Namespace, library: Library) -> None:
    setup = library.setup(args.name)
    library.use_setup(setup.id)
    out("{setup} is in use", setup=setup.name)


def _change(args: argparse.Namespace, library: Library) -> None:
    setup = library.setup(args.name)
    changes = _camera_changes(args, setup.details)
    if args.rename is not None:
        changes["name"] = args.rename
    if not changes:
        raise UsageError("nothing to change: give --iso, --shutter, --filter, --notes ...; see {do}", do=Do("change_setup"))
    changed = setup._replace(**changes)
    library.revise_setup(changed)
    print(camera_line(changed))
    for line in fact_lines(changed.details):
        print(line)


def _copy(args: argparse.Namespace, library: Library) -> None:
    old = library.setup(args.name)
    setup = copied_setup(library, old.id, args.new_name or free_name(library, say("{name} copy", name=old.name)))
    library.use_setup(setup.id)
    print(say_count(
        "{setup}: {count} light copied from {old}, in use now; meter it: {do}",
        "{setup}: {count} lights copied from {old}, in use now; meter them: {do}",
        len(library.lights(setup.id)), setup=setup.name, old=old.name, do=Do("meter_all"),
    ))  # fmt: skip


def _archive(args: argparse.Namespace, library: Library) -> None:
    setup = library.setup(args.name)
    if not setup.archived:
        library.revise_setup(setup._replace(archived=True))
    out("{setup} is archived: it is in '{do}', nothing of it is lost", setup=setup.name, do=Do("list_archived"))


def _unarchive(args: argparse.Namespace, library: Library) -> None:
    named = [s for s in library.setups(include_archived=True) if s.archived and s.name.casefold() == args.name.casefold()]
    setup = named[0] if len(named) == 1 else library.setup(args.name)
    if not setup.archived:
        raise UsageError("{setup} is not archived: {do}", setup=setup.name, do=Do("list_archived"))
    library.revise_setup(setup._replace(archived=False))
    out("{setup} is back in the list", setup=setup.name)


NAME, NAME_OR_USED = option("name", offers=SETUPS), option("name", nargs="?", offers=SETUPS)
CAMERA = (
    option("--iso", metavar="ISO", help="camera speed, e.g. 100"),
    option("--shutter", metavar="T", help="shutter, e.g. 1/160"),
    option("--camera-offset", metavar="STOPS", help="added to the working aperture: +0.3 closes down by a third"),
    option("--filter", metavar="F", help="filter on the lens: 4x, or 2 stops"),
    option("--notes", metavar="TEXT"),
    option("--subject", metavar="TEXT"),
    option("--tag", metavar="WORD", action="append", help="may be given several times; '' takes all tags away"),
    add_fact_options,
)
OPTIONS = [actions(
    new=Action(_new, "make a set-up and use it", [option("name"), *CAMERA]),
    list=Action(_list, "all set-ups, the current one marked", [
        option("--search", metavar="TEXT", default="", help="only those with TEXT in name, subject, notes or tags"),
        option("--archived", action="store_true", help="with the archived ones"), JSON,
    ]),
    show=Action(_show, "camera settings, lights and where they stand", [NAME_OR_USED, JSON]),
    use=Action(_use, "choose the set-up that the other verbs work on", [NAME]),
    change=Action(
        _change, "change the camera settings or the notes", [NAME_OR_USED, option("--rename", metavar="NAME"), *CAMERA]
    ),
    copy=Action(
        _copy, "the lights and where they stand, without readings, as a new set-up",
        [NAME, option("new_name", nargs="?", help="default: the old name and 'copy'")],
    ),
    archive=Action(_archive, "take a set-up out of the list; it and its readings are kept", [NAME]),
    unarchive=Action(_unarchive, "bring an archived set-up back", [option("name")]),
)]  # fmt: skip
