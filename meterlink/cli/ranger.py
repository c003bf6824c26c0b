"""``meterlink calibrate ranger``: a range finder's zero and scale from a ruler and a white card, a minute."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from math import hypot

from meterlink import units
from meterlink.calibration import ranger
from meterlink.cli.frame import open_library, print_json
from meterlink.cli.keys import Lines
from meterlink.cli.tasks import begun, teller
from meterlink.errors import CalibrationError, SensorError, UsageError
from meterlink.metering.sensor_in_use import SensorInUse
from meterlink.words.language import marked, say
from meterlink.words.told import put

USUAL_M = (0.1, 0.3)
MOST_M = 1.0
LISTEN_S = 3.0
WHITE_CARD = 0.9


async def walk(args: argparse.Namespace) -> int:
    """Take two marks of the ruler, fit and store; nothing is stored before both are right."""
    distances = [units.parse_length(one, "distance", 0.0, MOST_M) for one in args.distance] if args.distance else list(USUAL_M)
    if len(distances) != 2 or abs(distances[0] - distances[1]) < ranger.LEAST_APART_M:
        raise UsageError("give two distances 10 cm apart or more, e.g. --distance 10cm 30cm")

    tell = teller(as_json=False)
    with open_library(args) as library:
        async with begun(library, args.sensor, tell) as (watching, identity, _, _):
            if not identity.range_finder:
                raise SensorError("{sensor} has no range finder: type distances, e.g. KEY@20cm", sensor=identity.name)
            found = ranger.fit(await _marks(watching, distances, tell))
        library.remember(ranger.key(identity.sensor_id), found._asdict())
    if args.json:
        print_json(found)
    else:
        at_20 = 2 * hypot(found.u_offset_m, 0.2 * found.u_scale_rel)
        text = marked(
            "stored: zero {offset:+.0f} mm, scale {scale:.3f}; a dome held off 20 cm is measured to ± {u:.0f} mm and the hand's own"
        )
        tell(say(text, offset=1000 * found.offset_m, scale=found.scale, u=1000 * at_20))
    return 0


async def _marks(watching: SensorInUse, distances: list[float], tell: Callable[[str], None]) -> list[ranger.Mark]:
    lines = Lines()
    marks: list[ranger.Mark] = []
    how = marked("rest the sensor with the dome's reference plane {distance:length} from a white card, its back to it: Enter, or q")
    try:
        while len(marks) < len(distances):
            distance_m = distances[len(marks)]
            tell(put(how, distance=distance_m))
            if await lines.next() in (None, "q"):
                raise CalibrationError("stopped: nothing was stored")
            if hasattr(watching.bare_link, "hold"):
                # A simulated sensor has no hands.
                watching.bare_link.hold(distance_m, WHITE_CARD)
            try:
                marks.append(ranger.mark(distance_m, await watching.sensor.distances(LISTEN_S)))
            except CalibrationError as error:
                tell(f"! {error}")
    finally:
        lines.stop()
    return marks
