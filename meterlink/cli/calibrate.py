"""Calibrate a sensor: its zero, its scale against a reference you trust, its angular response.

examples:
  meterlink calibrate --reference "my meter, serviced 2024" --u-reference 0.05
  meterlink calibrate zero                    the dark alone, a minute
  meterlink calibrate ranger                  a range finder's zero and scale: a ruler, a white card, a minute
  meterlink calibrate angle                   on a turntable; hardware_notes/receptors.md says how
  meterlink calibrate --relative              no reference: ratios right, f-numbers relative
  meterlink calibrate --camera --reference "my camera, 50 mm, ISO 100"   a grey card instead of a meter: right for this camera
  meterlink calibrate --guide-number 40m --distance 3m 5m --range bright
  meterlink calibrate spectral diode.csv      what the lamp's colour does to your diode
  meterlink calibrate --list                  calibrations of the known sensors, with reminders

At each step: Enter (steady light), fire (flash), u takes the last one back, s leaves a step out, q stops; within a week the same
command goes on where it was.  Nothing is in force before the end, and old readings are never rewritten.
"""

from __future__ import annotations

import argparse
import asyncio
import math
import time
from collections.abc import Sequence

from meterlink import units
from meterlink.calibration import camera
from meterlink.calibration.calibrate import AngleWalk, ZeroWalk
from meterlink.calibration.chosen import reminders
from meterlink.calibration.evidence import resolution_u_rel
from meterlink.calibration.guide_walk import GuideWalk
from meterlink.calibration.kept_walk import as_data, go_on
from meterlink.calibration.procedure import Procedure
from meterlink.calibration.scale import Scaled
from meterlink.calibration.scale_walk import ScaleWalk
from meterlink.calibration.steps import LEVELS
from meterlink.cli import ranger, spectral
from meterlink.cli.as_typed import between
from meterlink.cli.frame import JSON, RECEPTOR, SENSOR, open_library, option, out, print_json, print_rows
from meterlink.cli.keys import Lines
from meterlink.cli.tasks import begun, drive, reference_value, teller
from meterlink.errors import CalibrationError, MeterlinkError, UsageError
from meterlink.library.store import Library
from meterlink.metering.calibrating import Keep, Say
from meterlink.records import Calibration, Identity
from meterlink.report.acceptance import claim_lines
from meterlink.words.language import marked, say, say_for, with_decimal_sign
from meterlink.words.told import written

OPTIONS = (
    option("what", nargs="?", choices=("scale", "zero", "angle", "spectral", "ranger"), default="scale"),
    option("file", nargs="?", help="spectral: CSV of wavelength (nm) and responsivity"),
    SENSOR,
    option("--reference", default="", metavar="TEXT", help="what you compare with"),
    option("--u-reference", type=between(0.005, 3), default=0.1, metavar="STOPS", help="its standard uncertainty (0.1)"),
    option("--resolution", type=between(0, 2), default=0.1, metavar="STOPS", help="steps of its display (0.1)"),
    RECEPTOR,
    option("--constant", type=between(50, 2000), metavar="C", help="C of the exposure equation in lx (330 dome, 250 flat)"),
    option("--levels", type=between(1, 100, int), default=LEVELS, metavar="N", help=f"pops a range ({LEVELS})"),
    option("--iso", default="100", help="ISO that the reference is set to"),
    option("--shutter", default="1/125", help="shutter of its f-numbers of steady light"),
    option("--relative", action="store_true", help="without a reference"),
    option("--camera", action="store_true", help="the reference is a camera and a grey card"),
    option("--card", type=between(1, 100), default=18.0, metavar="PERCENT", help="reflectance of the card (18)"),
    option("--guide-number", metavar="LENGTH", help="of a known flash, at ISO 100"),
    option("--distance", nargs="+", metavar="LENGTH", help="its distances from the dome"),
    option("--range", metavar="NAME", help="range of the guide number's pops (default: the least sensitive)"),
    option("--light-distance", default="2m", metavar="LENGTH", help="how far off the walk's lights stand (2m)"),
    option("--lamp", default="", metavar="NAME", help="the steady lamp (with --response by its name there)"),
    option("--response", metavar="FILE", help="CSV of the sensor's spectral response: the claim then names lamps"),
    option("--temperature", type=between(-40, 100), metavar="CELSIUS"),
    option("--anew", action="store_true", help="begin again, also where a walk was stopped"),
    option("--list", action="store_true", help="list calibrations"),
    JSON,
)


HOWS = (("--relative", "--reference"), ("--relative", "--guide-number"), ("--relative", "--camera"), ("--guide-number", "--camera"))
"""Two ways to a scale at once; a guide number's reference is the flash that is named by it."""


def _refuse_what_would_be_ignored(args: argparse.Namespace) -> None:
    """Raises UsageError: an option that the walk would have no use for."""
    given = [name for name in dict.fromkeys(sum(HOWS, ())) if getattr(args, name[2:].replace("-", "_"))]
    if args.what != "scale" and given:
        raise UsageError("calibrate {what} has no use for {option}: leave it out", what=args.what, option=given[0])
    for one, other in HOWS:
        if one in given and other in given:
            raise UsageError("{one} and {other} are two ways to a scale: give one of them", one=one, other=other)


def run(args: argparse.Namespace) -> int:
    """Walk, fit, store and show."""
    _refuse_what_would_be_ignored(args)
    if args.what == "spectral":
        return spectral.run(args)
    if args.list:
        return _list(args)
    return asyncio.run(ranger.walk(args) if args.what == "ranger" else _walk(args))


async def _walk(args: argparse.Namespace) -> int:
    tell = teller(args.json)
    # What is wrong with these is said before the walk, not after its half hour.
    light_distance_m, lamp_errors = units.parse_distance(args.light_distance), spectral.lamps_beside(args)
    with open_library(args) as library:
        async with begun(library, args.sensor, tell, args.receptor or "") as sensor:
            previous = sensor.calibration._replace(constant=args.constant) if args.constant else sensor.calibration
            walk = _procedure(args, sensor.identity, previous)
            constant, iso, shutter_s = walk.calibration.constant, units.parse_iso(args.iso), units.parse_shutter(args.shutter)
            value = reference_value(constant, iso, shutter_s, card=args.card / 100 if args.camera else None)
            lines = Lines()
            key, keep = _kept(args, library, walk, tell)
            going_on = True
            while True:
                going_on = going_on and await drive(sensor.watching, walk, tell, value, lines, keep)
                if not going_on:
                    done, wanted = walk.progress
                    text = marked("stopped at {done} of {wanted}: kept, the same command goes on with it" if done else "stopped")
                    tell(say(text, done=done, wanted=wanted))
                    return 1
                try:
                    made, scaled = _made(args, walk, light_distance_m, lamp_errors)
                    break
                except CalibrationError as error:
                    going_on = await _put_right(walk, error, lines, tell)
        library.add_calibration(made)
        library.remember(key, None)
        if args.json:
            print_json(made)
        else:
            _show(made, scaled, walk.identity.ranges)
        return 0


async def _put_right(walk: Procedure, error: CalibrationError, lines: Lines, tell: Say) -> bool:
    """One bad pair does not cost the half hour: it alone is taken again, or its flash stood elsewhere; False to stop.

    Raises CalibrationError: the one given, where it names no pair.
    """
    bad = [task.title for task in walk.tasks if task.name in walk.named(error.values.values())]
    if not bad:
        raise error
    tell(f"! {error}")
    while isinstance(walk, GuideWalk):
        far = with_decimal_sign(" ".join(f"{one:.3g}m" for one in walk.distances_m))
        text = marked("type the distances as they really were (now {far}), its pops count; Enter: {step} again; q stops")
        tell(f"  {say(text, far=far, step=bad[0])}")
        line = await lines.next()
        if line in (None, "q"):
            return False
        if not line:
            break
        try:
            walk.stood([units.parse_distance(one) for one in line.split()])
        except MeterlinkError as wrong:
            tell(f"! {wrong}")
        else:
            return True
    walk.retake(error.values.values())
    return True


def _kept(args: argparse.Namespace, library: Library, walk: Procedure, tell: Say) -> tuple[str, Keep]:
    """Take over what was done before with the same reference; return where the walk is kept, and what keeps it there."""
    key = f"calibrating {args.what} {walk.identity.sensor_id} {walk.calibration.receptor}"
    how = [args.reference, args.relative, args.guide_number, args.distance, args.range, args.levels, args.camera]
    kept = None if args.anew else library.recall(key)
    if kept is not None and (not isinstance(kept, dict) or kept.get("how") != how):
        tell(say("a walk with another reference was stopped: it is begun again"))
    elif kept is not None and (count := go_on(walk, kept, time.time())):
        tell(say("going on with the walk that was stopped, {count} steps are done (--anew begins again)", count=count))
    return key, lambda walk: library.remember(key, {**as_data(walk, time.time()), "how": how})


def _procedure(args: argparse.Namespace, identity: Identity, previous: Calibration) -> Procedure:
    if args.what == "zero":
        return ZeroWalk(identity, previous)
    if args.what == "angle":
        return AngleWalk(identity, previous)
    if not args.guide_number:
        if not args.relative and not args.reference:
            raise UsageError("name the reference with --reference TEXT, or use --relative or --guide-number")
        return ScaleWalk(
            identity, previous, levels=args.levels, relative=args.relative, resolution_stops=args.resolution,
            with_camera=args.camera,
        )  # fmt: skip
    if not args.distance:
        raise UsageError("give the flash's distances, e.g. --distance 1m 2m")
    called = {one: written(one, "range") for one in identity.ranges}
    numbers = {name: i for i, names in enumerate(called.items()) for name in names}
    if args.range and args.range not in numbers:
        raise UsageError("this sensor has no range {range}: it has {names}", range=args.range, names=", ".join(called.values()))
    guide = units.parse_length(args.guide_number, "guide number", 0.1)
    distances = [units.parse_distance(d) for d in args.distance]
    return GuideWalk(identity, previous, guide, distances, numbers.get(args.range, 0))


def _made(
    args: argparse.Namespace, walk: Procedure, light_distance_m: float, lamp_errors: dict[str, float] | None
) -> tuple[Calibration, Scaled | None]:
    now, stops = time.time(), math.log(2)
    if isinstance(walk, ZeroWalk):
        return walk.result(now), None
    if isinstance(walk, AngleWalk):
        return walk.result(now)[0], None
    assert isinstance(walk, ScaleWalk)
    guide, seen = isinstance(walk, GuideWalk), args.camera and not args.guide_number
    u_reading = 0.04 if guide else math.hypot(resolution_u_rel(args.resolution), 0.01)
    scaled = walk.result(
        reference=args.reference or (say("flash of guide number {number}", number=args.guide_number) if guide else ""),
        u_reference_rel=camera.U_SCALE_REL if seen else max(args.u_reference, 0.35 if guide else 0.0) * stops,
        u_reference_reading_rel=camera.U_READING_REL if seen else u_reading,
        temperature_c=args.temperature,
        created_at_s=now,
        light_distance_m=light_distance_m,
        lamp=args.lamp,
        lamp_errors=lamp_errors,
        method="guide number" if guide else camera.METHOD if seen else "reference",
    )
    return scaled.calibration, scaled


def _show(c: Calibration, scaled: Scaled | None, ranges: Sequence[str]) -> None:
    out(
        "\nstored: calibration {id}, {receptor:receptor}, method {method}, scale ±{u95:.2f} stop (k=2)",
        id=c.id[:12], receptor=c.receptor, method=say_for("method", c.method), u95=2 * c.u_scale_rel / math.log(2),
    )  # fmt: skip
    names = c.details.get("range_names") or ranges
    rows = [
        [written(n, "range"), written(r.full_scale_lx, ",.0f") + " lx", written(r.dark_raw, ".2%"),
         written(2 * r.u_rel / math.log(2), ".2f")]
        for n, r in zip(names, c.ranges, strict=False)
    ]  # fmt: skip
    print_rows(["range", "full scale", "dark", "± of its own (stop, k=2)"], rows, right="lrrr")
    claim = c.details.get("claim")
    if claim:
        for line in claim_lines(claim, names, c.constant):
            print(line)
    angle = c.details.get("angle")
    if angle:
        out("angular response: error index {x:.2f}; reads too bright (+) or too dark (-), in stops:", x=angle["error_index"])
        print("  " + "   ".join(with_decimal_sign(f"{a:g}°: {e:+.2f} ± {2 * u:.2f}") for a, e, u in angle["error_stops"]))
    if scaled is None:
        return
    for pair, stops in scaled.residuals:
        print(f"  {pair.label:<34} {written(stops + 0.0, '+.2f')} {_bar(stops)}".rstrip())
    for warning in scaled.warnings:
        print(f"! {warning}")


def _bar(stops: float) -> str:
    """A residual as a mark left or right of the middle, a hundredth of a stop a column at most 15."""
    at = max(-15, min(15, round(stops * 100)))
    cells = [" "] * 31
    cells[15], cells[15 + at] = "|", "*"
    return "".join(cells)


def _list(args: argparse.Namespace) -> int:
    with open_library(args, create=False) as library:
        found = library.calibrations()
    last = {(c.sensor_id, c.receptor): c.id for c in sorted(found, key=lambda c: c.method != "assumed")}
    if args.json:
        print_json(found)
        return 0
    rows = [
        [c.sensor_id, c.id[:12], time.strftime("%Y-%m-%d", time.gmtime(c.created_at_s)), say_for("method", c.method),
         written(c.receptor, "receptor"),
         say("in force") if last[c.sensor_id, c.receptor] == c.id else ""]
        for c in found
    ]  # fmt: skip
    print_rows(["sensor", "calibration", "date", "method", "receptor", ""], rows)
    for c in found:
        if last[c.sensor_id, c.receptor] == c.id:
            names = tuple(c.details.get("range_names") or (str(i) for i in range(len(c.ranges))))
            for words in reminders(c, Identity(c.sensor_id, "", "", ranges=names), time.time()):
                out("! {sensor}, {receptor:receptor}: {what}", sensor=c.sensor_id, receptor=c.receptor, what=words)
    return 0
