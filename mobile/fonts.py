"""Fonts for any script: names come from people.  No kivy here.

The usual font has Latin, Greek and Cyrillic.  Other scripts are looked for in what the platform has, by the file names that
Linux, Android, macOS and Windows give them; what is found nowhere is drawn with the wide font that kivy brings.  A text of several
scripts is cut into runs, each with its font.  Text that is written from right to left is joined and put into the order of the
screen by ``arabic_reshaper`` and ``bidi``.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

USUAL = "Roboto"
WIDE = "data/fonts/DejaVuSans.ttf"
"""Bundled with kivy: arrows, fractions, Hebrew, Arabic, Armenian, Georgian ...; no Chinese, Japanese or Korean."""

_FILES = {
    "arabic": ("NotoNaskhArabic-Regular.ttf", "NotoSansArabic-Regular.ttf", "GeezaPro.ttc", "segoeui.ttf"),
    "hebrew": ("NotoSansHebrew-Regular.ttf", "NotoSansHebrew-VF.ttf", "ArialHB.ttc", "segoeui.ttf"),
    "cjk": (
        "NotoSansCJK-Regular.ttc", "NotoSansCJKsc-Regular.otf", "NotoSansSC-Regular.otf", "DroidSansFallbackFull.ttf",
        "DroidSansFallback.ttf", "wqy-zenhei.ttc", "wqy-microhei.ttc", "PingFang.ttc", "Hiragino Sans GB.ttc",
        "AppleSDGothicNeo.ttc", "msyh.ttc", "YuGothM.ttc", "malgun.ttf",
    ),
    "emoji": ("NotoEmoji-Regular.ttf", "NotoEmoji-VariableFont_wght.ttf", "Symbola.ttf", "Symbola_hint.ttf", "seguiemj.ttf"),
}  # fmt: skip
"""Names of font files by what they cover, best first.  (File names of the platforms' own fonts, from memory.)"""

_RANGES = (
    (0x0590, 0x05FF, "hebrew"), (0xFB1D, 0xFB4F, "hebrew"),
    (0x0600, 0x06FF, "arabic"), (0x0750, 0x077F, "arabic"), (0x08A0, 0x08FF, "arabic"),
    (0xFB50, 0xFDFF, "arabic"), (0xFE70, 0xFEFF, "arabic"),
    (0x1100, 0x11FF, "cjk"), (0x2E80, 0xA4CF, "cjk"), (0xAC00, 0xD7AF, "cjk"), (0xF900, 0xFAFF, "cjk"),
    (0xFF00, 0xFFEF, "cjk"), (0x20000, 0x3FFFF, "cjk"),
    (0x1F000, 0x1FAFF, "emoji"),
)  # fmt: skip


def folders() -> Iterator[Path]:
    """Where this platform keeps its fonts."""
    home = Path.home()
    if "ANDROID_ARGUMENT" in os.environ:
        yield Path("/system/fonts")
    elif sys.platform == "darwin":
        yield from (Path("/System/Library/Fonts"), Path("/Library/Fonts"), home / "Library/Fonts")
    elif sys.platform == "win32":
        yield Path(os.environ.get("WINDIR", r"C:\Windows")) / "Fonts"
    else:
        yield from (Path("/usr/share/fonts"), Path("/usr/local/share/fonts"), home / ".local/share/fonts", home / ".fonts")


@lru_cache(maxsize=1)
def _installed() -> dict[str, Path]:
    """Font files of this machine by name."""
    found: dict[str, Path] = {}
    for folder in folders():
        for path in sorted(folder.rglob("*")) if folder.is_dir() else ():
            if path.suffix.lower() in (".ttf", ".otf", ".ttc"):
                found.setdefault(path.name, path)
    return found


@lru_cache(maxsize=16)
def font_of(script: str) -> str:
    """Return the font for a script: the platform's own where it has one, else the wide one."""
    if script == "usual":
        return USUAL
    return next((str(_installed()[name]) for name in _FILES.get(script, ()) if name in _installed()), WIDE)


def script_of(code: int) -> str:
    """Return what kind of font a character needs."""
    if code < 0x250 or 0x370 <= code < 0x530 or 0x2010 <= code <= 0x2044:
        return "usual"
    if code in (0x20AC, 0x2122, 0x2212, 0x2248, 0x2264, 0x2265):
        return "usual"
    return next((script for low, high, script in _RANGES if low <= code <= high), "wide")


@lru_cache(maxsize=2000)
def shaped(text: str) -> str:
    """Return a text as it is drawn, letters joined and in the screen's order; unchanged where nothing runs from the right."""
    if not any(script_of(ord(c)) in ("arabic", "hebrew") for c in text):
        return text
    try:
        from arabic_reshaper import reshape
        from bidi.algorithm import get_display
    except ImportError:  # an install without the extra: readable letter by letter
        return text
    return str(get_display(reshape(text)))


@lru_cache(maxsize=2000)
def runs(text: str) -> tuple[tuple[str, str], ...]:
    """Return (font, part) pairs of a text as it is drawn.  Spaces and digits stay with what stands before them."""
    found: list[tuple[str, str]] = []
    for char in shaped(text):
        neutral = not char.isalpha() and script_of(ord(char)) == "usual"
        font = found[-1][0] if found and neutral and found[-1][0] == USUAL else font_of(script_of(ord(char)))
        if found and found[-1][0] == font:
            found[-1] = (font, found[-1][1] + char)
        else:
            found.append((font, char))
    return tuple(found)


def font_for(text: str) -> str:
    """Return the font of a text's first run that is not the usual one; the usual one where it has all."""
    return next((font for font, _part in runs(text) if font != USUAL), USUAL)


def marked(text: str) -> str:
    """Return a text as kivy's markup, each run in its font; empty when one font has all of it."""
    parts = runs(text)
    if len({font for font, _part in parts}) < 2:
        return ""
    return "".join(f"[font={font}]{_escaped(part)}[/font]" for font, part in parts)


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("[", "&bl;").replace("]", "&br;")
