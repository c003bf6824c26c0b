"""A light described as in a set diagram: ``KEY "octa 90" 1.2m 40 30 1/4``; the kit fills in what it knows of the pieces.

Words are told apart by their form, so their order is only a habit: a name of the kit, a length, up to two angles, a power,
a size with an ``x``, a role.
"""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Container, Sequence
from functools import partial
from typing import Any

from meterlink import units
from meterlink.cli.as_typed import as_typed
from meterlink.cli.ask import ask_line
from meterlink.cli.frame import beside
from meterlink.errors import UnitError, UsageError
from meterlink.library.kit import HEAD, MODIFIER, Piece, pieces
from meterlink.metering.opened_set import OpenedSet
from meterlink.records import Light, Placement
from meterlink.records.kept import ROLES
from meterlink.words.actions import Do
from meterlink.words.language import marked, say, translated

ROLE_WORDS = {"backlight": "rim", "kicker": "rim", "bg": "background", "backdrop": "background", "main": "key", "accent": "other"}
"""What the trade also calls a role (common practice, no published source)."""
_DEGREES = r"[-+\u2212]?\s?[0-9.,]+\s?(?:°|deg|degrees?)?"
_SIZE = r"[0-9.,]+[^/]*[x×][^/]*[0-9.,]+.*"
_ROUND = r"octa|okta|dish|umbrella|schirm"
_SQUARE = r"softbox|square"
_CORNERS = r"softbox|square|strip|panel"
_GRID = r"(?:grid|wabe)(?:\s?([0-9.,]+)\s?(?:°|deg|degrees?)?)?"
"""Common names of modifiers (common practice, no published source)."""
DIAL = ("power_step_stops", "power_min_stops", "full_power_j", "shared_generator")
"""What belongs to a head, whatever light it is used for."""

FROM_MODIFIER = ("shape", "width_m", "height_m", "emission_n", "recess_m")
"""What a modifier brings to the placement."""

Made = tuple[Light, Placement]
Put = Callable[[argparse.Namespace, str], None]
"""Puts an answer where it belongs."""


def role_of(name: str) -> str | None:
    """Return the role that a light's name says (``KEY``, ``Hair 2``, ``BG``), None when it says none."""
    first = re.match(r"[^\W\d_]*", name.strip().lower())
    word = first[0] if first else ""
    return ROLE_WORDS.get(word, word if word in ROLES else None)


def read_words(args: argparse.Namespace, session: OpenedSet) -> list[Piece]:
    """Put each word into the option that it stands for; return the pieces of the kit that were named.

    Raises UsageError for a word that can be nothing, or that says a second time what was said.
    """
    known = pieces(session.library)
    args.taken = None
    named: list[Piece] = []
    names = {one.name.casefold() for one in known}
    texts = _without_power(_sides_joined(_names_joined([one for text in args.words if (one := " ".join(text.split()))], names)))
    for text in (*texts, *(t for t in (args.fixture, args.modifier) if t)):
        named += [one for one in known if one.name.casefold() == text.casefold() and one not in named]
    modifier = None
    for number, text in enumerate(texts):
        here = [one for one in named if one.name.casefold() == text.casefold()]
        for piece in here:
            _say_once(args, "fixture" if piece.kind == HEAD else "modifier", piece.name)
        if not here and not _formed(args, text, texts[max(number - 2, 0) : number]):
            if modifier is not None or args.action != "add" or text[:1].isdigit():
                raise UsageError(
                    "'{word}' is no distance, angle, power, size or piece of your kit: see {do}",
                    word=text[:30], do=Do("light_help", action=args.action),
                )
            first = re.split(r"\W|(?=\d)", text.lower())[0]
            if first in units.side_words() or re.fullmatch(_GRID, first):
                raise UsageError("'{word}' needs its degrees: 40 left, 30 up, 180 (behind the subject), grid 20", word=text[:30])
            modifier = text
            _no_name_in_two(texts[number:])
    if modifier is not None:
        _say_once(args, "modifier", modifier)
    if args.modifier and _of_kind(named, MODIFIER) is None and not (args.disk or args.rectangle or args.bare):
        option, size, sure = size_in_name(args.modifier)
        if sure:
            setattr(args, option, size)
            args.taken = option
    return named


def _no_name_in_two(texts: Sequence[str]) -> None:
    """Refuse a name that the shell has split, ``octa 90``: its number and two angles are one too many."""
    angles = [one for one in texts[1:] if re.fullmatch(_DEGREES, one)]
    if len(angles) > 2 and texts[1] == angles[0]:
        raise UsageError(
            "{angles} are too many angles: if {number} belongs to the name, put it in quotes: \"{name} {number}\"",
            angles=", ".join(angles), name=texts[0][:30], number=angles[0],
        )


def size_in_name(name: str) -> tuple[str, str, bool]:
    """Return the option and the size that a modifier's name says, in cm if it names no unit, and whether it is plain enough to
    be taken; else what such a modifier is usually given.
    """
    if grid := re.fullmatch(_GRID, name, re.IGNORECASE):
        return "grid", grid[1] or "40", False
    corners = re.search(_CORNERS, name, re.IGNORECASE) is not None
    found = re.search(r"[0-9].*$", name)
    text = found[0] + ("cm" if found[0][-1].isdigit() else "") if found else ""
    if not _reads(units.parse_size, text) or not 0.1 <= units.parse_size(text).width_m <= 5:
        return ("rectangle", "60x90cm", False) if corners else ("disk", "90cm", False)
    if units.parse_size(text).height_m is not None:
        return "rectangle", text, True
    if corners:
        return "rectangle", f"{text}x{text}" if re.search(_SQUARE, name, re.IGNORECASE) else "60x90cm", False
    return "disk", text, re.search(_ROUND, name, re.IGNORECASE) is not None


def _names_joined(words: Sequence[str], names: Container[str]) -> list[str]:
    """Words that the shell has split and that are a name of the kit together are one again, the longest name first."""
    out, rest = [], list(words)
    while rest:
        count = next((n for n in range(len(rest), 1, -1) if " ".join(rest[:n]).casefold() in names), 1)
        out.append(" ".join(rest[:count]))
        del rest[:count]
    return out


def _sides_joined(texts: Sequence[str]) -> list[str]:
    """``left 40`` is one word, as ``40 left`` and ``grid 20`` are; ``left 40 up 20`` comes as ``left``, ``40 up``, ``20``."""
    out: list[str] = []
    sides = units.side_words()
    for text in texts:
        found = re.fullmatch(rf"({_DEGREES})\s?({'|'.join(sides)})?", text, re.IGNORECASE)
        if out and found and (out[-1].lower() in sides or re.fullmatch(_GRID, out[-1] + "0", re.IGNORECASE)):
            out[-1] += f" {found[1].strip()}"
            out += [found[2]] if found[2] else []
        else:
            out.append(text)
    return out


def _without_power(texts: Sequence[str]) -> list[str]:
    """``power half`` and ``1/4 power`` say no more than the power alone."""
    out = list(texts)
    for i, text in enumerate(texts):
        beside = (*texts[max(i - 1, 0) : i], *texts[i + 1 : i + 2])
        if text.lower() in ("power", say("power")) and any(_reads(units.parse_power, one) for one in beside):
            out.remove(text)
    return out


def _formed(args: argparse.Namespace, text: str, before: Sequence[str]) -> bool:
    """Say whether a word's form tells what it is, and put it there; ``before`` are the two words in front of it."""
    sides = units.side_words()
    side = f"(?:{'|'.join(sides)})"
    if text.lower() in ROLES:
        _say_once(args, "role", text)
    elif (grid := re.fullmatch(_GRID, text, re.IGNORECASE)) and grid[1]:
        _say_once(args, "grid", grid[1])
    elif re.fullmatch(_SIZE, text, re.IGNORECASE):
        if before and re.search(_CORNERS, before[-1], re.IGNORECASE) and re.fullmatch(r"[0-9.,]+\s?[x×]\s?[0-9.,]+", text):
            text, args.taken = f"{text}cm", "rectangle"
        _say_once(args, "rectangle", text)
    elif text.lower() in ("behind", say("behind")):
        _say_once(args, "azimuth", text)
    elif re.fullmatch(rf"(?:{side}\s?)?{_DEGREES}(?:\s?{side})?", text, re.IGNORECASE):
        said = [sides[word] for word in re.findall(r"[^\W\d]+", text.lower()) if word in sides]
        upward = said[0] in units.UPWARD if said else args.azimuth is not None
        _say_once(args, "elevation" if upward else "azimuth", text)
    elif _reads(units.parse_length, text) or (text[:1] in "-\u2212" and text[-1:].isalpha()):
        round_one = before and (_is_diameter(before[-1]) or re.search(_ROUND, before[0], re.IGNORECASE))
        if round_one and args.distance == before[-1] and not (args.disk or args.rectangle):
            # A round source stands before its distance, as its modifier would.
            args.disk, args.distance = before[-1], None
        if args.distance is not None and not (args.disk or args.rectangle):
            raise UsageError(
                "{first} and {second} are two lengths: one is the distance; a round source is --disk {first}, another one 60x90cm",
                first=args.distance, second=text,
            )
        _say_once(args, "distance", text)
    elif (
        "/" in text or re.fullmatch(r"[0-9.,]+ ?(?:j|ws|%)", text, re.IGNORECASE)
        or (text.isalpha() and _reads(units.parse_power, text))
    ):  # fmt: skip
        _say_once(args, "power", text)
    else:
        return False
    return True


def _is_diameter(text: str) -> bool:
    """No head stands nearer than that to a face; a bare reflector is no wider."""
    return _reads(units.parse_length, text) and units.parse_length(text) <= 0.3


def _reads(parse: Any, text: str) -> bool:
    try:
        parse(text)
    except UnitError:
        return False
    return True


def _say_once(args: argparse.Namespace, option: str, text: str) -> None:
    if getattr(args, option) is not None:
        raise UsageError(
            "{option} is said twice, {first} and {second}: say it once",
            option=translated(option), first=getattr(args, option), second=text,
        )
    setattr(args, option, text)


def _of_kind(named: Sequence[Piece], kind: str) -> Piece | None:
    return next((one for one in named if one.kind == kind), None)


def from_kit(named: Sequence[Piece], session: OpenedSet, but: Light | None = None) -> dict[str, Any]:
    """Return what the kit knows for the light: names as spelled there, the head usually behind a modifier, its dial.

    A head that another light of the set has already is not taken a second time.
    """
    changes: dict[str, Any] = {}
    head, modifier = _of_kind(named, HEAD), _of_kind(named, MODIFIER)
    taken = {one.fixture.casefold() for one in session.lights() if but is None or one.id != but.id}
    if modifier is not None:
        changes["modifier"] = modifier.name
        usual = modifier.light
        if head is None and but is None and usual.fixture and usual.fixture.casefold() not in taken:
            changes["fixture"] = usual.fixture
            changes |= _dial(_of_kind([p for p in pieces(session.library) if p.name == usual.fixture], HEAD), but)
    if head is not None:
        changes["fixture"] = head.name
        changes |= _dial(head, but)
    return changes


def _dial(head: Piece | None, light: Light | None) -> dict[str, Any]:
    if head is None:
        return {}
    top = head.light.details.get("scale_top")
    details = {"details": {**(light.details if light else {}), "scale_top": top}} if top is not None else {}
    return {**{name: getattr(head.light, name) for name in DIAL}, **details}


def place_from_kit(named: Sequence[Piece]) -> dict[str, Any]:
    """Return what a modifier brings to the placement: shape, size, beam, recess."""
    modifier = _of_kind(named, MODIFIER)
    p = modifier.placement if modifier is not None else None
    if p is None:
        return {}
    return {name: getattr(p, name) for name in FROM_MODIFIER}


def ask(args: argparse.Namespace, session: OpenedSet, check: Callable[[argparse.Namespace], Made]) -> None:
    """Ask for name, and the things of a diagram in turn; an empty answer leaves one out.

    ``check`` returns the light of all that was answered so far or raises what is wrong: then the last answer is asked for again.
    """

    def asked(question: str, names: Sequence[str], put: Put) -> Made:
        while True:
            answer = ask_line(question, names)
            trial = argparse.Namespace(**vars(args))
            try:
                if answer:
                    put(trial, answer)
                made = check(argparse.Namespace(**vars(trial)))
            except (UsageError, UnitError) as error:
                beside(error)
            else:
                vars(args).update(vars(trial))
                return made

    free = [role.upper() for role in ROLES if all(role_of(one.name) != role for one in session.lights())]
    args.name = ask_line(marked("light"), free)
    if not args.name:
        raise UsageError("a light needs a name: meterlink light add KEY")
    args.words = []
    names = [p.name for p in sorted(pieces(session.library), key=lambda one: one.kind == HEAD)]  # modifiers first
    if role_of(args.name) is None and args.role is None:
        asked(marked("role (key, fill, hair, rim, background, other)"), ROLES, _into("role"))
    light, placement = asked(marked("modifier, head or size, e.g. 60x90cm"), names, partial(_put_piece, names))
    if light.modifier and placement.shape == "point":
        asked(marked("its size, e.g. 90cm (round) or 60x90cm"), (), _put_size)
    asked(marked("distance, e.g. 1.2m"), (), _into("distance"))
    asked(marked("azimuth and elevation, e.g. 40 30 (0 is the camera, + its right)"), (), _put_direction)
    asked(marked("power, e.g. 1/4"), (), _into("power"))


def _into(option: str) -> Put:
    return lambda args, answer: setattr(args, option, answer)


def _put_piece(names: Sequence[str], args: argparse.Namespace, answer: str) -> None:
    if answer[:1].isalpha() or answer.casefold() in (one.casefold() for one in names):
        args.words = [*args.words, answer]
    elif _reads(units.parse_size, answer):
        _put_size(args, answer)
    else:
        raise UsageError("'{typed}' is no name of a modifier or head, nor a size: begin a name with a letter", typed=answer[:30])


def _put_size(args: argparse.Namespace, answer: str) -> None:
    setattr(args, "disk" if units.parse_size(answer).height_m is None else "rectangle", answer)


def _put_direction(args: argparse.Namespace, answer: str) -> None:
    angles = _sides_joined(as_typed(answer.split()))
    for angle in angles:
        units.parse_angle(angle)
    args.words = [*args.words, *angles]
