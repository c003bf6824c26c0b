"""The last border: what a verb prints reaches the terminal without the control characters that a name may have brought."""

from __future__ import annotations

import os
import re
import shutil
import sys
import textwrap
from typing import Any, TextIO

from meterlink.words.language import unbroken

BOLD, DIM, PLAIN = "\033[1m", "\033[2m", "\033[0m"
LINE_AGAIN = "\r\033[K"
"""How a verb writes its present line anew; only at the beginning of what it writes."""
BELL = "\a"
"""How a verb rings; only by itself."""
_OURS_OR_CONTROL = re.compile(
    r"(\033\[(?:0|1|2|3[0-7]|1;3[0-7])?m)"  # bold, dim, a colour, plain: what our tables use
    "|[\\x00-\\x08\\x0b-\\x1f\\x7f-\\x9f\\u202a-\\u202e\\u2066-\\u2069]"
)


def cleaned(text: str) -> str:
    """Return text that can only be read: what moves the cursor, renames the window or turns the writing round is replaced.

    Who wants no colour (``NO_COLOR``) gets none, and no bold.
    """
    if text == BELL:
        return text
    begin = LINE_AGAIN if text.startswith(LINE_AGAIN) else ""
    plain = bool(os.environ.get("NO_COLOR"))
    return begin + _OURS_OR_CONTROL.sub(
        lambda found: ("" if plain else found[1]) if found[1] else "\N{REPLACEMENT CHARACTER}", text[len(begin) :]
    )


_VISIBLE = re.compile("\033\\[[0-9;]*m")


def broken(text: str, indent: str, width: int) -> str:
    """Return a line broken at words to a width, never between a number and its unit."""
    lines = textwrap.fill(unbroken(text), width, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
    return lines.replace("\N{NO-BREAK SPACE}", " ")


class CleanStream:
    """A stream of text that cleans what is written to it; a terminal's lines are broken at words.  The rest is the stream's own."""

    def __init__(self, stream: TextIO, *, breaks: bool = True) -> None:
        """``breaks``: at words; data for programs is left whole."""
        self._stream, self._breaks = stream, breaks

    @property
    def whole(self) -> CleanStream:
        """The same stream, its lines left as they are."""
        return CleanStream(self._stream, breaks=False)

    def write(self, text: str) -> int:
        """Write what is left of the text after cleaning."""
        text = cleaned(text)
        if self._breaks and len(text) > 40 and self._stream.isatty():
            again = LINE_AGAIN if text.startswith(LINE_AGAIN) else ""
            text = again + "".join(map(_fitting, text[len(again) :].splitlines(keepends=True)))
        return self._stream.write(text)

    def writelines(self, lines: Any) -> None:
        """Write each line, cleaned."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def _fitting(line: str) -> str:
    width, plain = terminal_width(), _VISIBLE.sub("", line).rstrip("\n")
    if len(plain) <= width:
        return line
    indent = plain[: len(plain) - len(plain.lstrip())]
    return broken(line.rstrip("\n"), f"{indent}  ", width) + "\n" * line.endswith("\n")


class LiveLine:
    """The last line of a terminal, written anew in place and never longer than the terminal is wide; nothing for a program."""

    def __init__(self) -> None:
        self.on = is_terminal()
        self._shown = False

    def show(self, text: str, style: str = "") -> None:
        """Write the line anew."""
        if self.on:
            text = text[: terminal_width() - 1]
            print(f"{LINE_AGAIN}{style}{text}{PLAIN if style else ''}", end="", flush=True)
            self._shown = True

    def clear(self) -> None:
        """Leave it empty, for what is printed next."""
        if self._shown:
            print(LINE_AGAIN, end="", flush=True)
            self._shown = False


def is_terminal() -> bool:
    """Say whether a person looks at the output (tables as wide as the terminal, bold) or a program reads it."""
    return sys.stdout is not None and sys.stdout.isatty()


def terminal_width() -> int:
    """Columns of the terminal, at least 40."""
    return max(40, shutil.get_terminal_size().columns)
