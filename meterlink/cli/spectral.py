"""``meterlink calibrate spectral``: how other lamps are read, by the sensor's measured response."""

from __future__ import annotations

import argparse
from pathlib import Path

from meterlink.calibration.spectra import Spectra, known_lamps, lamp_errors, parse_csv
from meterlink.cli.frame import out, print_json, print_rows
from meterlink.errors import UsageError
from meterlink.words.actions import Do
from meterlink.words.told import written


def lamps_beside(args: argparse.Namespace) -> dict[str, float] | None:
    """By how much other lamps are read too bright, where the response is given; under the flash without a lamp's name."""
    if not args.response:
        return None
    responses, lamps = _spectra(args.response), known_lamps()
    under = args.lamp if args.lamp in lamps else next(iter(lamps))
    _, rows = lamp_errors(next(iter(responses.values())), lamps, under)
    return {r.lamp: round(r.error_stops, 4) for r in rows if r.lamp != under}


def _spectra(file: str) -> Spectra:
    """Read a file of spectra.  Raises UsageError when it cannot be read."""
    try:
        text = Path(file).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError("{file} cannot be read ({name}): check the path", file=file, name=type(error).__name__) from None
    return parse_csv(text)


def run(args: argparse.Namespace) -> int:
    """Show each sensor of a file of spectra: its index, and what it makes of every known lamp."""
    if not args.file:
        raise UsageError("name a CSV of wavelength and responsivity: {do}", do=Do("calibrate_spectral"))
    sensors, lamps = _spectra(args.file), known_lamps()
    found = {name: lamp_errors(values, lamps) for name, values in sensors.items()}
    if args.json:
        print_json({n: {"f1_prime": f1, "lamps": rows} for n, (f1, rows) in found.items()})
        return 0
    for name, (f1, rows) in found.items():
        out("\n{name}: f1′ {f1:.3f}; calibrated under illuminant A it reads so many stops too bright (+):", name=name, f1=f1)
        cells = [[r.lamp, written(r.factor, ".4f"), written(r.error_stops, "+.2f")] for r in rows]
        print_rows(["lamp", "F*", "stops"], cells, right="lrr")
    return 0
