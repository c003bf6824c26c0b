"""What the simulated sensor sees when a button of the app fires: the set in use, as ``meterlink.simulation.as_placed`` has it."""

from __future__ import annotations

from meterlink.metering.walk import Request
from meterlink.simulation.as_placed import pulse_of
from meterlink.simulation.studio import Pulse
from mobile.desk import Shot


def pulse_for(shot: Shot, request: Request, held_off_m: float) -> Pulse | None:
    """Return the pop that the simulated set gives for a request; None when nothing of it can fire."""
    states = shot.view.lights if shot.view else ()
    placements = {one.light.id: one.placement for one in states if one.placement is not None}
    return pulse_of([one.light for one in states], placements, **request._replace(held_off_m=held_off_m)._asdict())
