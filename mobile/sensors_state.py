"""What the sensors screen shows.  No kivy."""

from __future__ import annotations

import re
import time
from typing import NamedTuple

from meterlink.words.told import written
from mobile.sensor_desk import Found, Status
from mobile.texts import t, t_count

CALIBRATION_OLD_S = 365 * 86400
"""After a year a calibration is called old (common practice, no published source)."""


class SensorLine(NamedTuple):
    """One sensor that was found."""

    url: str
    name: str
    what: str
    signal: str
    bars: int
    """0 (unknown) to 4."""
    connected: bool


class SensorsLook(NamedTuple):
    """The whole screen."""

    title: str
    words: str
    serial: str
    """Its serial number, apart from what must be read; empty when not known."""
    facts: tuple[str, ...]
    connected: bool
    simulated: bool
    lines: tuple[SensorLine, ...]
    search: str


def bars_of(signal_dbm: int | None) -> int:
    """Return 1 to 4 bars; -55 dBm and better is 4, each 12 dB less takes one."""
    if signal_dbm is None:
        return 0
    return max(1, min(4, 4 - int(max(-55 - signal_dbm, 0) // 12)))


_SERIAL = re.compile(r" \((\w{8,})\)")


def without_serial(words: str) -> tuple[str, str]:
    """Part what is said of a sensor from its serial number, which nobody reads on the way to a pop."""
    found = _SERIAL.search(words)
    return (words[: found.start()] + words[found.end() :], found.group(1)) if found else (words, "")


def age_text(calibrated_at_s: float | None, method: str, now_s: float) -> str:
    """How old the calibration is; one that was only assumed says so."""
    if calibrated_at_s is None:
        return ""
    if method == "assumed":
        return t("sensors.uncalibrated")
    days = max(int((now_s - calibrated_at_s) // 86400), 0)
    age = t("sensors.today") if days == 0 else t_count("sensors.days", days)
    text = t("sensors.calibrated", age=age)
    return f"{text} {t('sensors.old')}" if now_s - calibrated_at_s > CALIBRATION_OLD_S else text


def strip_text(status: Status) -> str:
    """The sensor in one short line, for the top of every page."""
    if status.state == "none":
        return t("sensors.strip_none")
    name = written(status.name or status.url, "sensor")
    if status.state == "ready":
        shown = t("sensors.strip_ready", name=name)
        if status.battery is not None and status.battery <= 0.15:
            shown = t("sensors.strip_low", name=name, percent=f"{status.battery * 100:.0f}")
        return shown
    if status.state == "lost":
        return t("sensors.strip_lost", name=name)
    return t("sensors.strip_wait", name=name) if status.state != "silent" else t("sensors.strip_silent", name=name)


def sensors_look(status: Status, found: tuple[Found, ...], now_s: float | None = None) -> SensorsLook:
    """Turn the sensor desk's state into the screen."""
    now_s = time.time() if now_s is None else now_s
    facts = []
    if status.state not in ("none", "stopped"):
        if not status.flash:
            facts.append(t("sensors.no_flash"))
        if status.battery is not None:
            facts.append(t("sensors.battery", percent=f"{status.battery * 100:.0f}"))
        age = age_text(status.calibrated_at_s, status.calibration, now_s)
        if age:
            facts.append(age)
        facts += status.calibration_words
        if status.damaged:
            facts.append(t_count("sensors.damaged", status.damaged))
    ordered = sorted(found, key=lambda f: (f.url != status.url, not f.known, -(f.signal_dbm or -200), f.name))
    lines = tuple(
        SensorLine(
            f.url,
            f.name,
            f.what,
            t("sensors.signal", dbm=f.signal_dbm) if f.signal_dbm is not None else t("sensors.known") if f.known else "",
            bars_of(f.signal_dbm),
            f.url == status.url,
        )
        for f in ordered
        if not f.simulated
    )
    nothing = "" if lines or status.ready else t("sensors.nothing")
    words, serial = without_serial(status.words)
    search = t("sensors.looking") if status.looking else status.search_note or nothing
    title = written(status.name, "sensor") or (t("sensors.none") if status.state == "none" else status.url)
    number = t("sensors.serial", number=serial) if serial else ""
    connected = status.state not in ("none", "stopped")
    return SensorsLook(title, words, number, tuple(facts), connected, status.simulated, lines, search)
