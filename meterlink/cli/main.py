"""From ``argv`` to one verb: the verb's module alone is imported, so that a one-shot command starts at once.

Exit codes: 0 ok, 2 wrong use, 1 anything else.  Errors are one line on stderr; this is the only place where a
``MeterlinkError`` becomes one.
"""

from __future__ import annotations

import argparse
import contextlib
import difflib
import os
import sys
from collections.abc import Iterator, Sequence
from types import ModuleType, SimpleNamespace
from typing import Any, NoReturn, TextIO, cast

from meterlink import __version__
from meterlink.cli.terminal import CleanStream, cleaned
from meterlink.errors import MeterlinkError, ShowingFailed

VERBS: dict[str, tuple[str, str]] = {
    # verb: (module below meterlink.cli, one line of help), in the order of a day on set
    "demo": ("demo", "the whole job on a recorded set, no hardware needed"),
    "sensors": ("sensors", "what is connected and what it can do"),
    "watch": ("watch", "live light, nothing is logged"),
    "setup": ("setup", "make, list, show and choose set-ups"),
    "light": ("light", "add, move, change and list the lights of the set-up"),
    "kit": ("kit", "your heads and modifiers: favourites and what was learnt of them"),
    "meter": ("meter", "wait for one pop per light and log it"),
    "held": ("held", "say afterwards how far the dome was held off"),
    "undo": ("undo", "take the last reading back"),
    "reassign": ("reassign", "give the last reading to another light"),
    "ratios": ("ratios", "the ratio table of the set"),
    "checks": ("checks", "what is not as it should be, worst first, each with what to do"),
    "wave": ("wave", "waveforms of the pops: durations, pictures, samples"),
    "colour": ("colour", "each light's colour against the key's, and over its power"),
    "targets": ("targets", "what to change to reach the ratios you want"),
    "match": ("match", "bring a set back to a stored one, light by light"),
    "compare": ("compare", "two set-ups, or two dates of one, side by side: only what differs"),
    "sheet": ("sheet", "a page to print: plan, lights, ratios, a list for the rebuild"),
    "calibrate": ("calibrate", "a sensor's zero, scale and angular response"),
    "sensor-test": ("sensor_test", "two minutes with a sensor just plugged in: names the likely fault"),
    "verify": ("verify", "ten minutes of acceptance of a newly built sensor"),
    "falloff": ("falloff", "measure how a light's modifier falls off with distance"),
    "export": ("export", "write set-ups to a file (JSON, CSV, whole library)"),
    "import": ("import_", "take set-ups from a file or a sheet's QR code"),
    "merge": ("merge", "unite another library with this one"),
    "sync": ("sync", "unite this library with a studio's shared one"),
    "store": ("store", "check, copy, back up and restore the library file"),
}
"""Every verb, with the module that does it and its line in the list of verbs."""

PLAIN: dict[str, dict[str, bool]] = {
    # verb: its options, True for those with a value
    "ratios": {"json": False, "whole": False, "setup": True, "library": True},
    "checks": {"json": False, "setup": True, "library": True},
    "undo": {"setup": True, "library": True},
}
"""Verbs that are asked for in the middle of a shoot and have nothing but plain options: they are read without argparse, which
(with what it imports) costs as much as the interpreter's own start.  Anything unusual goes to argparse all the same."""

LIBRARY_HELP = "SQLite file of set-ups and readings (also METERLINK_LIBRARY); default: your data folder"


def overview() -> str:
    """Text of ``meterlink --help``: the verbs with one line each."""
    width = max(map(len, VERBS)) + 2
    rows = "\n".join(f"  {verb:<{width}}{line}" for verb, (_, line) in VERBS.items())
    return (
        "usage: meterlink [--library FILE] VERB ...\n\n"
        "Meter the lights of a studio set with your own sensor: one pop a light, corrected to the face,\n"
        "the ratio table at once.\n\n"
        f"{rows}\n\n"
        "  meterlink VERB --help   options and examples of a verb\n"
        f"  --library FILE          {LIBRARY_HELP}\n"
        "  --version               version of meterlink\n\n"
        "First steps without a sensor:  meterlink demo\n"
    )


def module_of(verb: str) -> ModuleType:
    """Import and return the module that does a verb (``importlib`` itself would cost more than most of them)."""
    name = f"meterlink.cli.{VERBS[verb][0]}"
    __import__(name)
    return sys.modules[name]


def build_parser(verb: str) -> argparse.ArgumentParser:
    """Return the argument parser of one verb (its module is imported here and nowhere else)."""
    # Our texts are English, so argparse's own need no translation: looking for one costs a tenth of a one-shot command.
    argparse._ = str  # type: ignore[attr-defined]

    def formatter(prog: str) -> argparse.HelpFormatter:
        # The width is given because argparse would import shutil (and three compression modules) to ask for it.
        columns = os.environ.get("COLUMNS", "")
        return argparse.RawDescriptionHelpFormatter(prog, width=int(columns) if columns.isdigit() else 100)

    class Parser(argparse.ArgumentParser):
        def error(self, message: str) -> NoReturn:
            # One line, as for every other error; argparse would print the whole usage.
            self.exit(2, f"meterlink: {cleaned(message)}: see {self.prog} --help\n")

    module = module_of(verb)
    text = (module.__doc__ or "").strip()
    summary, _, rest = text.partition("\n\n")
    parser = Parser(
        prog=f"meterlink {verb}",
        description=" ".join(summary.split()),
        epilog=rest or None,
        formatter_class=formatter,
        allow_abbrev=False,
    )
    parser.add_argument("--library", metavar="FILE", help=argparse.SUPPRESS)
    module.configure(parser)
    for actions in (a for a in parser._actions if isinstance(a, argparse._SubParsersAction)):
        for action in actions.choices.values():
            action.add_argument("--library", metavar="FILE", default=argparse.SUPPRESS, help=argparse.SUPPRESS)
            action.epilog, action.formatter_class = parser.epilog, formatter
    return parser


def plain_arguments(verb: str, arguments: Sequence[str]) -> SimpleNamespace | None:
    """Return the arguments of a plain verb; None when there is anything that argparse should look at."""
    options = PLAIN.get(verb)
    if options is None:
        return None
    found: dict[str, Any] = {name: None if valued else False for name, valued in options.items()}
    words = iter(arguments)
    for word in words:
        name, equals, value = word[2:].partition("=")
        if not word.startswith("--") or name not in options or bool(equals) > options[name]:
            return None
        if not options[name]:
            found[name] = True
            continue
        given = value if equals else next(words, "-")
        if given.startswith("-"):
            return None
        found[name] = given
    return SimpleNamespace(**found)


def _take_library(argv: list[str]) -> str | None:
    """Pull ``--library FILE`` off the front of ``argv`` (before the verb)."""
    if argv and argv[0].startswith("--library="):
        return argv.pop(0).partition("=")[2]
    if len(argv) > 1 and argv[0] == "--library":
        argv.pop(0)
        return argv.pop(0)
    return None


def _unknown_verb(verb: str) -> str:
    near = difflib.get_close_matches(verb, VERBS, n=1)
    hint = f"did you mean '{near[0]}'?" if near else "'meterlink --help' lists the verbs"
    return f"meterlink: there is no verb '{verb[:40]}': {hint}"


def _forgive_encodings() -> None:
    """What the output cannot write becomes a replacement character, never an error; Windows writes UTF-8 where it can."""
    for stream in (sys.stdout, sys.stderr):
        change = getattr(stream, "reconfigure", None)
        if change is not None:
            with contextlib.suppress(OSError, ValueError):
                change(errors="replace", **({"encoding": "utf-8"} if sys.platform == "win32" else {}))


def _close_output() -> None:
    """Nobody can read what is still to be printed: let the interpreter's own end not stumble over it."""
    with contextlib.suppress(AttributeError, OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one verb and return the exit code."""
    _forgive_encodings()
    arguments = list(sys.argv[1:] if argv is None else argv)
    library = _take_library(arguments)
    if not arguments or arguments[0] in ("-h", "--help", "help"):
        print(overview(), end="")
        return 0
    if arguments[0] == "--version":
        print(f"meterlink {__version__}")
        return 0
    verb = arguments.pop(0)
    if verb not in VERBS:
        print(cleaned(_unknown_verb(verb)), file=sys.stderr)
        return 2
    return _run_verb(verb, arguments, library)


@contextlib.contextmanager
def _clean_output() -> Iterator[None]:
    """Names and notes from elsewhere reach the terminal without their control characters."""
    streams = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = (s and cast("TextIO", CleanStream(s)) for s in streams)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = streams


def _run_verb(verb: str, arguments: list[str], library: str | None) -> int:
    try:
        args: Any = plain_arguments(verb, arguments)
        if args is None:
            spread = getattr(module_of(verb), "spread", None)
            args = build_parser(verb).parse_args(spread(arguments) if spread is not None else arguments)
        args.library = args.library or library
        with _clean_output():
            result: int | None = module_of(verb).run(args)
        sys.stdout.flush()
        return result or 0
    except MeterlinkError as error:
        print(f"meterlink: {cleaned(str(error))}", file=sys.stderr)
        if isinstance(error, ShowingFailed):
            _close_output()
        return error.exit_code
    except KeyboardInterrupt:
        print("\nmeterlink: stopped; everything that was accepted is in the library", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader of our pipe (head, less) has gone; that is its right.
        _close_output()
        return 0
    except OSError as error:
        why = error.strerror or error
        print(f"meterlink: the output cannot be written ({why}): make room or choose another place", file=sys.stderr)
        _close_output()
        return 1
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else 2


if __name__ == "__main__":
    raise SystemExit(main())
