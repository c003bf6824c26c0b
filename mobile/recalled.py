"""Held-off distances that the app remembers for a pop to come, and since when: the person is told.  No kivy."""

from __future__ import annotations

from collections.abc import Container

from meterlink.judging.judged_set import JudgedSet
from meterlink.metering.rebuild import Rebuild
from meterlink.metering.session import Session
from meterlink.metering.walk import Request
from meterlink.records import Purpose
from mobile.shot import Recalled


def recalled(session: Session, view: JudgedSet, said: Container[str]) -> tuple[Recalled, ...]:
    """Distances of the lights that may fire next that were not ``said`` for this pop; one at the point is as good as none."""
    found = []
    for request in session.may_come() if session.walk.listening else ():
        light_id = request.light_id or ""
        # A reflector's second pop is held as its first one was: that was said with the first.
        if request.held_off_m and light_id not in said and request.purpose != Purpose.WITHOUT:
            since = _since(session, view, request)
            found.append(Recalled(light_id, request.held_off_m, since, request.pops == 1))
    return tuple(found)


def _since(session: Session, view: JudgedSet, request: Request) -> str:
    last = next((r for r in reversed(view.readings) if r.light_id == request.light_id), None)
    if last is not None and last.held_off_m == request.held_off_m:
        return "pop"
    light = session.by_id.get(request.light_id)
    if isinstance(session, Rebuild) and light is not None:
        then = next((s.reading for s in session.stored.view().lights if s.light.name.casefold() == light.name.casefold()), None)
        if then is not None and then.held_off_m == request.held_off_m:
            return "stored"
    return "said"
