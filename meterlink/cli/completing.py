"""What the shell offers for a word: verbs and options come from the parsers, names from the library.

argcomplete does the talking with bash, zsh and fish; a completer is a function ``(prefix, parsed_args, **more) -> names``.
Nothing here is imported before a shell asks, except the names of the completers.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable
from typing import Any

from meterlink.errors import MeterlinkError
from meterlink.library.kit import HEAD, MODIFIER, pieces
from meterlink.library.store import Library
from meterlink.records.kept import ROLES

Completer = Callable[..., Iterable[str]]


def _asked(find: Callable[[Library, argparse.Namespace], Iterable[str]]) -> Completer:
    def names(parsed_args: argparse.Namespace, **_: Any) -> Iterable[str]:
        try:
            with Library.open(getattr(parsed_args, "library", None), create=False) as library:
                return list(find(library, parsed_args))
        except MeterlinkError:
            return []  # a shell that completes is not told of errors

    return names


SETUPS = _asked(lambda library, _: (one.name for one in library.setups()))
LIGHTS = _asked(lambda library, args: (one.name for one in library.lights(library.setup(getattr(args, "setup", None)).id)))
KIT = _asked(lambda library, _: (one.name for one in pieces(library)))
FIXTURES = _asked(lambda library, _: (one.name for one in pieces(library) if one.kind == HEAD))
MODIFIERS = _asked(lambda library, _: (one.name for one in pieces(library) if one.kind == MODIFIER))
ROLE_NAMES = tuple(role.upper() for role in ROLES)
