"""The walk through a set: which light is waited for, and what comes next.

A walk is a list of requests, which of them have been served, and a position.  It knows nothing of sensors or files; the session
asks it for the present request, moves it on after an accepted reading, and stores it (``as_json``) so that a killed app comes
back to the same light.  Only three things move it: a reading was logged, a light was skipped, a step was taken back.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from meterlink.records import Kind, Purpose
from meterlink.records.kept import FACE, falloff_at_m


class Request(NamedTuple):
    """One thing to be metered, and how the dome is held for it."""

    light_id: str | None
    """None for a reading of the whole set (``together``) or of the room."""
    purpose: str = Purpose.ALONE
    kind: str = Kind.FLASH
    point: str = FACE
    aim: str = "light"
    receptor: str = "dome"
    held_off_m: float | None = None
    held_off_toward: str = "light"
    pops: int = 1
    """Pops that make this reading."""
    lit: tuple[str, ...] = ()
    """Lights that fire, for ``together``."""
    note: str = ""
    """Kept with the reading: ``lamps on``, ``lamps off``."""

    @property
    def light_at_m(self) -> float | None:
        """Where a falloff walk has the light, metres from the dome; None in every other walk."""
        return falloff_at_m(self.point)


class Heard(NamedTuple):
    """A pop of a walk whose lights fire in any order: the reading that it became."""

    reading_id: str
    said: bool = False
    """Whether the person has said whose it is: no later pop changes that."""


@dataclass
class Walk:
    """Requests in order, with the position of the one that is waited for."""

    requests: list[Request] = field(default_factory=list)
    position: int = 0
    auto_advance: bool = True
    served: set[int] = field(default_factory=set)
    """Requests that have their reading or were skipped."""
    last_id: str = ""
    """The last reading that this walk logged: a distance that is said now belongs to it."""
    any_order: bool = False
    """Whether its lights fire as they like; which of them fired is then for the pop to say."""
    heard: list[Heard] = field(default_factory=list)
    """In any order: the pops so far."""
    named: str = ""
    """In any order: the light whose pop the next one is, because the person said so."""
    stranger: str = ""
    """In any order: the kept reading of the last pop, when that fits no light; the person may still say whose it is."""

    @property
    def waiting(self) -> Request | None:
        """The request that the next pop belongs to; None when the walk is over."""
        return self.requests[self.position] if self.position < len(self.requests) else None

    @property
    def listening(self) -> bool:
        """Whether a pop would be taken: the request that is shown may have its reading already."""
        return self.position < len(self.requests) and self.position not in self.served

    @property
    def following(self) -> Request | None:
        """The request after the waiting one, so that an assistant can get ready."""
        after = self._next(self.position)
        return self.requests[after] if after < len(self.requests) else None

    @property
    def done(self) -> bool:
        """True when every request has its reading or was skipped."""
        return self.position >= len(self.requests)

    def _next(self, position: int) -> int:
        """The next request without a reading: those after ``position``, then those left behind; the end when there is none."""
        count = len(self.requests)
        later = [*range(position + 1, count), *range(min(position, count))]
        return next((i for i in later if i not in self.served), count)

    def serve(self) -> None:
        """The waiting request has its reading: go on, unless the person does that."""
        if self.auto_advance:
            self.advance()
        else:
            self.served.add(self.position)

    def advance(self) -> None:
        """Go on to the next request that has no reading."""
        if self.position < len(self.requests):
            self.served.add(self.position)
            self.position = self._next(self.position)

    def back_to(self, light_id: str | None) -> bool:
        """Wait for the request of this light that was served last once more; return whether there was one."""
        count = len(self.requests)
        last_first = [*range(min(self.position, count - 1), -1, -1), *range(count - 1, self.position, -1)]
        for i in last_first:
            if i in self.served and self.requests[i].light_id == light_id:
                self.served.discard(i)
                self.position = i
                return True
        return False

    def hear(self, heard: Iterable[Heard], light_ids: Iterable[str], freed: Iterable[str] = ()) -> None:
        """In any order: the pops so far, the lights that have one and those that lost theirs.  Waits for the first of the rest."""
        self.heard, self.named = list(heard), ""
        read, lost = set(light_ids), set(freed)
        mine = {i for i, r in enumerate(self.requests) if r.purpose == Purpose.ALONE and r.kind == Kind.FLASH}
        self.served -= {i for i in mine if self.requests[i].light_id in lost - read}
        self.served |= {i for i in mine if self.requests[i].light_id in read}
        self.position = self._next(-1)

    def restated(self, old_id: str, new_id: str) -> None:
        """A reading was said anew: its record has another id."""
        if self.last_id == old_id:
            self.last_id = new_id
        self.heard = [one._replace(reading_id=new_id) if one.reading_id == old_id else one for one in self.heard]

    def drop(self, light_id: str) -> None:
        """Forget requests of a light that are still to come (it was metered by a re-assignment)."""
        self._keep(lambda i: self.requests[i].light_id != light_id or i in self.served)

    def forget(self, light_id: str) -> None:
        """Forget every request of a light (it was taken out of the set)."""
        self._keep(lambda i: self.requests[i].light_id != light_id)

    def _keep(self, wanted: Any) -> None:
        kept = [i for i in range(len(self.requests)) if wanted(i)]
        self.served = {new for new, old in enumerate(kept) if old in self.served}
        place = sum(i < self.position for i in kept)
        gone = self.position < len(self.requests) and self.position not in kept
        self.requests = [self.requests[i] for i in kept]
        self.position = self._next(place - 1) if gone else place

    def go_to(self, light_id: str) -> bool:
        """Wait for this light now, once more when it has its reading; return False when it is not in the walk."""
        of_it = [i for i, request in enumerate(self.requests) if request.light_id == light_id]
        if not of_it:
            return False
        if all(i in self.served for i in of_it):
            self.served -= set(of_it)
        self.position = next(i for i in of_it if i not in self.served)
        return True

    def change(self, how: Request) -> None:
        """Meter a light as this says where it is still to come; purpose, note, and a distance that this leaves open stay."""
        for i, one in enumerate(self.requests):
            if one.light_id == how.light_id and i not in self.served:
                changed = how._replace(purpose=one.purpose, lit=one.lit, note=one.note)
                if how.held_off_m is None:
                    changed = changed._replace(held_off_m=one.held_off_m, held_off_toward=one.held_off_toward)
                self.requests[i] = changed

    def insert(self, requests: Iterable[Request]) -> None:
        """Wait for these now; what was waited for comes after them."""
        new = list(requests)
        at = self.position
        self.served = {i + len(new) if i >= at else i for i in self.served}
        self.requests[at:at] = new

    def as_json(self) -> dict[str, Any]:
        """Return the walk as JSON data."""
        return {
            "position": self.position,
            "auto_advance": self.auto_advance,
            "served": sorted(self.served),
            "last": self.last_id,
            "any_order": self.any_order,
            "heard": [list(one) for one in self.heard],
            "named": self.named,
            "stranger": self.stranger,
            "requests": [r._asdict() for r in self.requests],
        }

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Walk:
        """Return the walk that ``as_json`` wrote; unreadable data gives an empty walk (it is only convenience)."""
        try:
            requests = [Request(**{**r, "lit": tuple(r.get("lit", ()))}) for r in data["requests"] if isinstance(r, dict)]
            position = min(max(int(data["position"]), 0), len(requests))
            return cls(
                requests,
                position,
                auto_advance=bool(data.get("auto_advance", True)),
                served={int(i) for i in data.get("served", range(position))} & {*range(len(requests))},
                last_id=str(data.get("last", "")),
                any_order=bool(data.get("any_order", False)),
                heard=[Heard(str(reading_id), bool(said)) for reading_id, said in data.get("heard", ())],
                named=str(data.get("named", "")),
                stranger=str(data.get("stranger", "")),
            )
        except (KeyError, TypeError, ValueError):
            return cls()
