"""From ``argv`` to one verb: the verb's module alone is imported, so that a one-shot command starts at once.

Exit codes: 0 ok, 2 wrong use, 1 anything else.  Errors are one line on stderr; this is the only place where a
``MeterlinkError`` becomes one.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
import textwrap
from collections.abc import Callable, Iterator, Sequence
from types import ModuleType
from typing import Any, NoReturn, TextIO, cast

from meterlink import __version__
from meterlink.cli.as_typed import as_typed
from meterlink.cli.help import WIDTH, HelpAll, one_screen, translate
from meterlink.cli.terminal import CleanStream
from meterlink.errors import MeterlinkError, ShowingFailed, UsageError
from meterlink.words.actions import Do
from meterlink.words.language import marked, say, translated

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
    "completion": ("completion", "let bash, zsh or fish complete verbs, lights and your kit"),
    "store": ("store", "check, copy, back up and restore the library file"),
}
"""Every verb, with the module that does it and its line in the list of verbs."""

SHORT = {"move": ("light", "move"), "add": ("light", "add")}
"""What people type without the noun."""

OVERVIEW = (
    (0, marked("Meter the lights of a studio set with your own sensor: one pop a light, corrected to the face, "
        "the ratio table at once."
    )),
    (26, marked("  meterlink VERB --help   options and examples of a verb")),
    (26, marked(
        "  --library FILE          SQLite file of set-ups and readings (also METERLINK_LIBRARY); default: your data folder"
    )),
    (26, marked("  --version               version of meterlink")),
)
"""What stands above and below the verbs, each with the indent of its further lines."""


def overview() -> str:
    """Text of ``meterlink --help``: the verbs with one line each."""
    width = max(map(len, VERBS)) + 2
    above, *below = ("\n".join(textwrap.wrap(say(text), WIDTH, subsequent_indent=" " * indent)) for indent, text in OVERVIEW)
    rows = (f"  {verb:<{width}}{translated(line)}" for verb, (_, line) in VERBS.items())
    last = say("First steps without a sensor:  {do}", do=Do("demo"))
    return "\n".join([say("usage: meterlink [--library FILE] VERB ..."), "", above, "", *rows, "", *below, "", last, ""])


def module_of(verb: str) -> ModuleType:
    """Import and return the module that does a verb (``importlib`` itself would cost more than most of them)."""
    name = f"meterlink.cli.{VERBS[verb][0]}"
    __import__(name)
    return sys.modules[name]


class Parser(argparse.ArgumentParser):
    """Parser of a verb and of its actions: one line for an error, ``--library`` and the examples everywhere."""

    def __init__(self, **options: Any) -> None:
        self._typed: list[str] = []
        super().__init__(formatter_class=argparse.RawDescriptionHelpFormatter, **{"allow_abbrev": False, **options})
        # No default, so that an action's parser does not forget what stood before the action.
        self.add_argument("--library", metavar="FILE", default=argparse.SUPPRESS, help=argparse.SUPPRESS)
        self.add_argument("--help-all", action=HelpAll, dest=argparse.SUPPRESS)

    def parse_known_args(self, args: Any = None, namespace: Any = None, *more: Any) -> Any:
        """Remember what was typed: an error may be about a word that argparse does not name."""
        self._typed = list(args or ())
        return super().parse_known_args(args, namespace, *more)

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        """Say what there is to choose from; argparse would speak of arguments and choices."""
        if action.choices is not None and value not in action.choices:
            words = {"typed": str(value)[:30], "choices": ", ".join(map(str, action.choices))}
            text = say("there is no '{typed}' here, only {choices}", **words)
            raise argparse.ArgumentError(None, f"{action.option_strings[-1]}: {text}" if action.option_strings else text)

    def error(self, message: str) -> NoReturn:
        """End with one line, as for every other error; argparse would print the whole usage."""
        words = (word.partition("=")[0] for word in self._typed if word[:1] == "-")
        odd = next((word for word in words if word not in self._option_string_actions), "")
        lacks = translated("the following arguments are required: %s").removesuffix("%s")
        if message.startswith(lacks):
            text = marked("'{odd}' is no option, and no name begins so" if odd else "{missing} is missing")
            message = say(text, odd=odd[:30], missing=message.removeprefix(lacks))
        self.exit(2, say("meterlink: {error}: see {command} --help", error=message, command=self.prog) + "\n")

    def format_help(self) -> str:
        """Return the help that fits one screen."""
        self.described()
        return one_screen(self)

    def print_help(self, file: Any = None) -> None:
        """Print the help: argparse would say nothing where it cannot be written."""
        print(self.format_help(), end="", file=file)

    def described(self) -> None:
        """Take summary and examples from the docstring of the verb's module; an action has those of its own."""
        verb, *action = self.prog.split()[1:]
        summary, _, rest = (module_of(verb).__doc__ or "").strip().partition("\n\n")
        own = [line for line in rest.splitlines() if f"{line} ".startswith(f"  {self.prog} ")]
        if not action:
            self.description, self.epilog = " ".join(summary.split()), rest
        elif own:
            self.epilog = "\n".join(["examples:", *own])


def build_parser(verb: str) -> argparse.ArgumentParser:
    """Return the argument parser of one verb (its module is imported here and nowhere else)."""
    parser = Parser(prog=f"meterlink {verb}")
    for declare in module_of(verb).OPTIONS:
        declare(parser)
    translate(parser)
    return parser


def parse(verb: str, words: Sequence[str]) -> argparse.Namespace:
    """Read what was typed after a verb."""
    typed = as_typed(words)
    shorter = getattr(module_of(verb), "written_out", None)
    args = build_parser(verb).parse_args(typed if shorter is None else shorter(typed))
    args.library = getattr(args, "library", None)
    return args


def _take_library(argv: list[str]) -> str | None:
    """Pull ``--library FILE`` off the front of ``argv`` (before the verb)."""
    if argv and argv[0].startswith("--library="):
        return argv.pop(0).partition("=")[2]
    if len(argv) > 1 and argv[0] == "--library":
        argv.pop(0)
        return argv.pop(0)
    return None


def _unknown_verb(verb: str) -> str:
    import difflib  # a slip alone needs it: every start would pay

    if near := difflib.get_close_matches(verb, VERBS, n=1):
        return say("meterlink: there is no verb '{verb}': did you mean '{near}'?", verb=verb[:40], near=near[0])
    return say("meterlink: there is no verb '{verb}': 'meterlink --help' lists the verbs", verb=verb[:40])


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
    if "_ARGCOMPLETE" in os.environ:
        return _complete()
    with _clean_output():
        return _main(list(sys.argv[1:] if argv is None else argv))


def _main(arguments: list[str]) -> int:
    library = _take_library(arguments)
    if arguments[:1] == ["help"] and arguments[1:2]:
        arguments = [*arguments[1:], "--help"]  # help light add
    if not arguments or arguments[0] in ("-h", "--help", "help"):
        return _guarded(lambda: print(overview(), end=""))
    if arguments[0] == "--version":
        return _guarded(lambda: print(f"meterlink {__version__}"))
    verb = arguments.pop(0)
    if verb in SHORT:
        verb, action = SHORT[verb]
        arguments.insert(0, action)
    if verb not in VERBS:
        print(_unknown_verb(verb), file=sys.stderr)
        return 2
    return _guarded(lambda: _run_verb(verb, arguments, library))


def _complete() -> int:
    """Answer a shell that completes a line: only the parser of the verb that stands in it is filled."""
    import argcomplete

    line = os.environ.get("COMP_LINE", "").split()
    verb = next((word for word in line[1:] if word in VERBS), None)
    every = Parser(prog="meterlink")
    actions = every.add_subparsers(dest="verb")
    for name in VERBS:
        parser = actions.add_parser(name)
        if name == verb:
            for declare in module_of(name).OPTIONS:
                declare(parser)
    argcomplete.autocomplete(every, always_complete_options=False)
    return 0


@contextlib.contextmanager
def _clean_output() -> Iterator[None]:
    """Names and notes from elsewhere reach the terminal without their control characters."""
    streams = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = (s and cast("TextIO", CleanStream(s)) for s in streams)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = streams


def _run_verb(verb: str, arguments: list[str], library: str | None) -> int | None:
    args = parse(verb, arguments)
    args.library = library if args.library is None else args.library
    if args.library == "":
        raise UsageError("--library '' names no file: give its name, or leave the option out for your own library")
    result: int | None = module_of(verb).run(args)
    return result


def _guarded(job: Callable[[], int | None]) -> int:
    """Do a job of the command line; whatever ends it becomes a line and an exit code."""
    try:
        try:
            result = job()
        except SystemExit as stop:  # help, whose text may still be on its way
            result = stop.code if isinstance(stop.code, int) else 2
        sys.stdout.flush()
        return result or 0
    except MeterlinkError as error:
        print(f"meterlink: {error}", file=sys.stderr)
        if isinstance(error, ShowingFailed):
            _close_output()
        return error.exit_code
    except KeyboardInterrupt:
        print("\n" + say("meterlink: stopped; everything that was accepted is in the library"), file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader of our pipe (head, less) has gone; that is its right.
        _close_output()
        return 0
    except OSError as error:
        why = error.strerror or error
        print(say("meterlink: the output cannot be written ({why}): make room or choose another place", why=why), file=sys.stderr)
        _close_output()
        return 1


if __name__ == "__main__":
    raise SystemExit(main())
