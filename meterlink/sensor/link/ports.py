"""Which serial ports there are, which of them may be a sensor, and which are in use.  Opens nothing."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Sequence
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any, NamedTuple

EXTRA_ENV = "METERLINK_PORTS"
"""Ports that the system does not list (ptys, remote ports), separated by spaces, ``;`` or, before a path, ``:``."""
EXCLUDE_ENV = "METERLINK_EXCLUDE_PORTS"
"""Ports never to be opened, the same way; ``*`` and ``?`` match."""
LIKELY_NAMES = ("ttyACM", "ttyUSB", "cu.usb", "cu.wchusb", "cu.SLAB")
MAX_PORTS = 64


class Port(NamedTuple):
    """One serial port."""

    name: str
    """What is opened: ``/dev/ttyACM0``, ``COM3``, or a URL of pyserial."""
    description: str = ""
    serial_number: str = ""
    likely: bool = False
    """Looks like a board with USB, or was named by the user."""
    named: bool = False
    """The user named it: it is asked whatever it looks like."""

    @property
    def url(self) -> str:
        """Its sensor URL."""
        return self.name if "://" in self.name else f"serial:{self.name}"


def excluded_by(name: str, patterns: Iterable[str]) -> bool:
    """Return whether a port's name, or its last part, matches one of the patterns."""
    last = name.rsplit("/", 1)[-1]
    return any(fnmatchcase(name, p) or fnmatchcase(last, p) for p in patterns)


def ports(extra: Sequence[str] = (), exclude: Sequence[str] = ()) -> list[Port]:
    """Return the ports, named ones first, without the excluded ones, at most ``MAX_PORTS``.

    ``extra`` and ``exclude`` add to the environment's ``METERLINK_PORTS`` and ``METERLINK_EXCLUDE_PORTS``.
    """
    patterns = (*exclude, *_words(os.environ.get(EXCLUDE_ENV, "")))
    named = [Port(_bare(n), "named by you", likely=True, named=True) for n in (*extra, *_words(os.environ.get(EXTRA_ENV, "")))]
    found: dict[str, Port] = {}
    for port in (*named, *_listed()):
        if port.name not in found and not excluded_by(port.name, patterns):
            found[port.name] = port
    return list(found.values())[:MAX_PORTS]


def holder(name: str) -> str:
    """Return the name of another program that has the port open, ``""`` when none is seen.

    Linux only, and only programs whose open files we may see; the exclusive lock at opening is the second fence.
    """
    proc = Path("/proc")
    if not name.startswith("/") or not proc.is_dir():
        return ""
    try:
        target = str(Path(name).resolve())
        processes = [p for p in os.listdir(proc) if p.isdigit() and p != str(os.getpid())]  # noqa: PTH208
    except OSError:
        return ""
    for process in processes:
        try:
            folder = f"/proc/{process}/fd"
            if any(_link(f"{folder}/{fd}") == target for fd in os.listdir(folder)):  # noqa: PTH208
                return (proc / process / "comm").read_text(errors="replace").strip() or f"process {process}"
        except OSError:
            # It ended, or belongs to somebody else.
            continue
    return ""


def _link(path: str) -> str:
    try:
        return os.readlink(path)  # noqa: PTH115
    except OSError:
        return ""


def _listed() -> list[Port]:
    from serial.tools import list_ports

    return sorted((_from_system(info) for info in list_ports.comports()), key=lambda p: (not p.likely, p.name))


def _from_system(info: Any) -> Port:
    name = str(info.device)
    words = str(info.description or "")
    likely = info.vid is not None or any(part in name for part in LIKELY_NAMES)
    plain = "".join(c for c in words if c.isprintable())[:60]
    return Port(name, "" if plain == "n/a" else plain, str(info.serial_number or "")[:60], likely)


def _words(text: str) -> list[str]:
    # A URL has colons of its own: only one before a path (and not before "//") separates.
    return [w for w in re.split(r"\s+|:(?=/[^/])|;", text.replace("serial:", "")) if w]


def _bare(name: str) -> str:
    return name.removeprefix("serial:")
