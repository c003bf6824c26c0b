"""One question at the terminal, answered with completion of the names that are known."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence

from meterlink.errors import UsageError
from meterlink.words.language import say


def ask_line(question: str, names: Sequence[str]) -> str:
    """Return the answer without blanks around it; the tabulator completes one of ``names``.

    Raises UsageError when there is nobody to answer.
    """
    with _completing(names):
        try:
            return input(f"{say(question)}: ").strip()
        except EOFError:
            raise UsageError('nobody answers: meterlink light add KEY "octa 90" 1.2m 40 30 1/4 asks nothing') from None


@contextlib.contextmanager
def _completing(names: Sequence[str]) -> Iterator[None]:
    try:
        import readline
    except ImportError:  # Windows: the names are typed out
        yield
        return

    def complete(start: str, number: int) -> str | None:
        fitting = [one for one in names if one.casefold().startswith(start.casefold())]
        return fitting[number] if number < len(fitting) else None

    readline.set_completer(complete)
    readline.set_completer_delims("")  # a name may hold blanks
    readline.parse_and_bind("tab: complete")
    try:
        yield
    finally:
        readline.set_completer(None)
