"""The demo set: a script of steps that builds a set-up and meters it, from a recording or from the chip that made it.

``shared/demo/set.json`` says what stands where and what is done; ``shared/demo/session.mlrec`` holds what came over
the link.  Whoever plays it (the command line, the app, the script that made the recording) drives the same
session, reader and library as a real sensor would.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from meterlink.library.store import Library
from meterlink.metering.session import Session
from meterlink.metering.walk import Request
from meterlink.records import Calibration, Light, Placement, RangeScale, Setup, new_id
from meterlink.shared_files import shared_path
from meterlink.words.language import translated

RECORDING = ("demo", "session.mlrec")
SENSOR_ID = "4d4c000000000001"
PLACE_FIELDS = frozenset(Placement._fields) - {"id", "light_id", "created_at_s", "details"}


def script() -> dict[str, Any]:
    """Return the demo's script."""
    data: dict[str, Any] = json.loads(shared_path("demo", "set.json").read_text(encoding="utf-8"))
    return data


def free_name(library: Library, name: str) -> str:
    """Return the name, with a number behind it when a set-up has it already."""
    taken = {one.name.casefold() for one in library.setups(include_archived=True)}
    number = 2
    found = name
    while found.casefold() in taken:
        found = f"{name} {number}"
        number += 1
    return found


def build(library: Library, data: dict[str, Any], now: Callable[[], float], *, use: bool = True) -> Session:
    """Make the demo's set-up with its lights in the library, and return a session on it; ``use`` makes it the one in use."""
    setup = Setup(new_id(), created_at_s=now(), **{**data["setup"], "name": free_name(library, data["setup"]["name"])})
    library.add_setup(setup)
    if use:
        library.use_setup(setup.id)
    stored = data["calibration"]
    if not any(c.method == stored["method"] for c in library.calibrations(SENSOR_ID)):
        fields = {k: v for k, v in stored.items() if k not in ("full_scale_lx", "dark_raw")}
        ranges = tuple(RangeScale(value, stored["dark_raw"]) for value in stored["full_scale_lx"])
        library.add_calibration(Calibration(new_id(), SENSOR_ID, now(), ranges=ranges, **fields))
    session = Session(library, setup.id, now=now)
    ids: dict[str, str] = {}
    for order, one in enumerate(data["lights"]):
        ids[one["name"]] = new_id()
        fields = {name: one.get(name, "") for name in ("role", "point", "fixture", "modifier")}
        light = Light(
            ids[one["name"]], setup.id, one["name"], order=order, source_light_id=ids.get(one.get("reflector_of", "")), **fields
        )
        place = {name: one[name] for name in PLACE_FIELDS & set(one)}
        session.add_light(light, Placement(new_id(), light.id, now(), **place))
    return session


class Player:
    """Goes through the steps; ``on_waiting_over`` is to be called when a walk is done, and begins the next one.

    ``say`` gets what a person should read.
    """

    def __init__(self, session: Session, steps: list[dict[str, Any]], say: Callable[[str], None]) -> None:
        self.session = session
        self.say = say
        self._steps = list(steps)

    def next_walk(self) -> bool:
        """Do the steps up to and with the next walk; False when there is none left."""
        while self._steps:
            step = self._steps.pop(0)
            if "say" in step:
                self.say(translated(step["say"]))
            elif "move" in step:
                changes = dict(step["move"])
                self.session.move(self.session.light(changes.pop("light")), **changes)
            elif "together" in step:
                lit = tuple(self.session.light(name).id for name in step["together"])
                self.session.begin([Request(None, "together", aim="camera", held_off_m=0.0, lit=lit)])
                return True
            else:
                self.session.begin([self._request(name, held) for name, held in step["meter"]])
                return True
        return False

    def _request(self, name: str, held_off_m: float | None) -> Request:
        light = self.session.light(name)
        return Request(light.id, point=light.point, held_off_m=held_off_m)
