"""The walk through a set: which light is waited for, and what comes next.

A walk is a list of requests and a position.  It knows nothing of sensors or files; the session asks it for the
present request, moves it on after an accepted reading, and stores it (``as_json``) so that a killed app comes back to
the same light.  Only three things move it: a reading was logged, a light was skipped, a step was taken back.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

from meterlink.records.kept import FACE


class Request(NamedTuple):
    """One thing to be metered, and how the dome is held for it."""

    light_id: str | None
    """None for a reading of the whole set (``together``) or of the room."""
    purpose: str = "alone"
    kind: str = "flash"
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


class Walk:
    """Requests in order, with the position of the one that is waited for."""

    def __init__(self, requests: Iterable[Request] = (), position: int = 0, *, auto_advance: bool = True) -> None:
        self.requests = list(requests)
        self.position = min(max(position, 0), len(self.requests))
        self.auto_advance = auto_advance

    @property
    def waiting(self) -> Request | None:
        """The request that the next pop belongs to; None when the walk is over."""
        return self.requests[self.position] if self.position < len(self.requests) else None

    @property
    def following(self) -> Request | None:
        """The request after the waiting one, so that an assistant can get ready."""
        after = self.position + 1
        return self.requests[after] if after < len(self.requests) else None

    @property
    def done(self) -> bool:
        """True when every request has its reading or was skipped."""
        return self.position >= len(self.requests)

    def advance(self) -> None:
        """Go on to the next request."""
        self.position = min(self.position + 1, len(self.requests))

    def back(self) -> None:
        """Wait for the request before once more."""
        self.position = max(self.position - 1, 0)

    def back_to(self, light_id: str | None) -> bool:
        """Wait for this light again if it was passed; return whether that moved the walk."""
        for i in range(self.position - 1, -1, -1):
            if self.requests[i].light_id == light_id:
                self.position = i
                return True
        return False

    def drop(self, light_id: str) -> None:
        """Forget requests of a light that are still to come (it was metered by a re-assignment)."""
        keep = self.requests[: self.position]
        keep += [r for r in self.requests[self.position :] if r.light_id != light_id]
        self.requests = keep

    def go_to(self, light_id: str) -> bool:
        """Wait for this light now; return False when it is not in the walk."""
        for i, request in enumerate(self.requests):
            if request.light_id == light_id:
                self.position = i
                return True
        return False

    def replace_waiting(self, **changes: Any) -> None:
        """Change how the dome is held for the request that is waited for."""
        if self.position < len(self.requests):
            self.requests[self.position] = self.requests[self.position]._replace(**changes)

    def as_json(self) -> dict[str, Any]:
        """Return the walk as JSON data."""
        return {
            "position": self.position,
            "auto_advance": self.auto_advance,
            "requests": [r._asdict() for r in self.requests],
        }

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Walk:
        """Return the walk that ``as_json`` wrote; unreadable data gives an empty walk (it is only convenience)."""
        try:
            requests = [
                Request(**{**r, "lit": tuple(r.get("lit", ()))}) for r in data["requests"] if isinstance(r, dict)
            ]
            return cls(requests, int(data["position"]), auto_advance=bool(data.get("auto_advance", True)))
        except (KeyError, TypeError, ValueError):
            return cls()
