"""From a sensor's URL to its link, importing only the module that this kind of link needs.

=============================================  ==================================================
``serial:/dev/ttyACM0?baud=250000``, ``COM3``   a serial port, by pyserial
``socket://host:port``, ``rfc2217://`` ...      whatever pyserial opens by URL
``file:RECORDING?speed=max``                    a recording, in its own time or as fast as possible
``sim:``                                        the simulated sensor
``ble:ADDRESS``                                 Bluetooth LE
=============================================  ==================================================

Every module of a link has ``from_url(url: LinkUrl) -> Link``.  The option ``dialect=NAME`` may stand in every URL;
it says what the sensor speaks and is no concern of the link.
"""

from __future__ import annotations

import re
from importlib import import_module
from typing import NamedTuple
from urllib.parse import parse_qsl

from meterlink.errors import UsageError
from meterlink.sensor.link.base import Link
from meterlink.words.actions import Do

MAX_URL = 2000
_MODULES = {
    "serial": "meterlink.sensor.link.serial_port",
    "file": "meterlink.sensor.link.recording",
    "ble": "meterlink.sensor.link.ble",
    "sim": "meterlink.simulation.sensor",
}
_PYSERIAL = ("socket", "rfc2217", "loop", "spy", "alt", "hwgrep")


class LinkUrl(NamedTuple):
    """A sensor's URL in its parts; ``text`` is the whole, as it was typed."""

    text: str
    scheme: str
    target: str
    """Port, address, path, or for pyserial's own URLs the whole without our options."""
    options: dict[str, str]

    def refuse_options_but(self, *known: str) -> None:
        """Raise ``UsageError`` when there is an option that this kind of link does not have."""
        for name in self.options:
            if name not in (*known, "dialect"):
                allowed = ", ".join(sorted((*known, "dialect")))
                raise UsageError(
                    "{url}: there is no option {name!r} here, use one of {allowed}", url=self.text, name=name, allowed=allowed,
                )


def parse(text: str) -> LinkUrl:
    """Return the parts of a sensor's URL; a bare port name is a serial port.  Raises UsageError: it is no URL of a sensor."""
    if not text or len(text) > MAX_URL or not text.isprintable():
        raise UsageError("a sensor is named by a URL such as serial:/dev/ttyACM0: {do}", do=Do("sensors"))
    if text.startswith("/dev/") or re.fullmatch(r"COM\d+", text, re.IGNORECASE):
        return LinkUrl(text, "serial", text, {})
    if text.lower() == "sim":
        text = "sim:"
    scheme, colon, rest = text.partition(":")
    scheme = scheme.lower()
    if scheme in _PYSERIAL and rest.startswith("//"):
        # pyserial has its own options behind the question mark: only ours are taken out.
        target, ours = _take_out(text, ("dialect", "baud"))
        return LinkUrl(text, "serial", target, ours)
    if not colon or scheme not in _MODULES:
        raise UsageError(
            "{typed}: not a sensor's URL; use serial:PORT, ble:ADDRESS, socket://HOST:PORT, file:RECORDING "
            "or sim:",
            typed=text,
        )
    target, _, query = rest.partition("?")
    options = dict(parse_qsl(query, keep_blank_values=True))
    if not target and scheme in ("serial", "file", "ble"):
        raise UsageError("{typed}: what comes after {scheme}: is missing: {do}", typed=text, scheme=scheme, do=Do("sensors"))
    return LinkUrl(text, scheme, target, options)


def link_for(url: str) -> Link:
    """Return the link, not yet open, that a URL names.

    Raises UsageError: it is no URL of a sensor, or an option has a value that cannot be.
    """
    parts = parse(url)
    link: Link = import_module(_MODULES[parts.scheme]).from_url(parts)
    return link


def _take_out(text: str, names: tuple[str, ...]) -> tuple[str, dict[str, str]]:
    head, _, query = text.partition("?")
    parts = [part.partition("=") for part in query.split("&")]
    theirs = "&".join("".join(part) for part in parts if part[0] not in names)
    return head + (f"?{theirs}" if theirs else ""), {name: value for name, _, value in parts if name in names}
