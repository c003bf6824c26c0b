"""The last border: what a verb prints reaches the terminal without the control characters that a name may have brought."""

from __future__ import annotations

import re
from typing import Any, TextIO

LINE_AGAIN = "\r\033[K"
"""How a verb writes its present line anew; only at the beginning of what it writes."""
_OURS_OR_CONTROL = re.compile(
    r"(\033\[(?:0|1|2|3[0-7]|1;3[0-7])?m)"  # bold, dim, a colour, plain: what our tables use
    "|[\\x00-\\x08\\x0b-\\x1f\\x7f-\\x9f\\u202a-\\u202e\\u2066-\\u2069]"
)


def cleaned(text: str) -> str:
    """Return text that can only be read: what moves the cursor, renames the window or turns the writing round is replaced."""
    begin = LINE_AGAIN if text.startswith(LINE_AGAIN) else ""
    return begin + _OURS_OR_CONTROL.sub(lambda found: found[1] or "\N{REPLACEMENT CHARACTER}", text[len(begin) :])


class CleanStream:
    """A stream of text that cleans what is written to it; anything else is the stream's own."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write what is left of the text after cleaning."""
        return self._stream.write(cleaned(text))

    def writelines(self, lines: Any) -> None:
        """Write each line, cleaned."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)
