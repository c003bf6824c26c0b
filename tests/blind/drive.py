"""One set through the real command line, from bytes to tables: ``run_set`` returns what the table says beside what is true."""

from __future__ import annotations

import contextlib
import io
import json
import sys
from pathlib import Path
from typing import Any, NamedTuple
from unittest import mock

import numpy as np

from meterlink.cli.main import main
from meterlink.metering import driver
from tests.blind import pulses
from tests.blind.bytes_of_sensor import BITS, REST, Speaker, write_recording
from tests.blind.studio import FRONTAL, REACHES, U_TAPE_M, Lamp, alone, draw_set, together

ISO, DOME_CONSTANT = 100.0, 330.0
GAP_S, QUIET = 3.0, 130
PLAYED_S = 0.05
"""A walk waits in real time for a flash after its last one; a recording at full speed has been played to its end by then."""
DARK_CODE = round(REST * 2**BITS)
COSTLY_STOPS = 1 / 3


class Row(NamedTuple):
    """One light of one set."""

    from_key_error_stops: float | None
    """Table's stops from the key minus the true ones; None for the key."""
    from_key_u95_stops: float
    error_stops: float
    """The same of the light itself, by the f-number of the table."""
    u95_stops: float
    verdict: str
    declared: bool
    key: bool


class Seen(NamedTuple):
    """What one set gave."""

    rows: tuple[Row, ...]
    alarm: str
    """The first light (``all`` for the pop of all lights) that the readings speak against; empty when nothing is said."""
    wrong: str
    """The light whose reading was taken held off without a word; empty in a clean set."""
    cost_stops: float
    level_stops: float
    """Stops under the key of the wrong one."""


def command(library: Path, *words: str) -> str:
    """Run ``meterlink --library FILE words`` and return what it printed; AssertionError with everything when it failed."""
    out, err, keyboard = io.StringIO(), io.StringIO(), sys.stdin
    sys.stdin = None  # type: ignore[assignment]
    try:
        patient = mock.patch.object(driver, "LAST_FLASH_S", PLAYED_S)
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), patient:
            code = main(["--library", str(library), *words])
    finally:
        sys.stdin = keyboard
    if code != 0:
        raise AssertionError(f"meterlink {' '.join(words)} ended with {code}: {out.getvalue()} {err.getvalue()}")
    return out.getvalue()


def played(rng: np.random.Generator, path: Path, exposures_lxs: list[float]) -> str:
    """URL of a recording in which the pops come one after another."""
    speaker = Speaker()
    parts = [(0.01, speaker.identity(pulses.INTERVAL_S))]
    for i, exposure in enumerate(exposures_lxs):
        at_s = 1.0 + GAP_S * i
        index, codes = pulses.codes(rng, exposure)
        parts.append((at_s, speaker.pop(at_s, index, codes, pulses.PRETRIGGER, pulses.INTERVAL_S)))
    # Life goes on after the last pop, as it does on a line: a recording that ends with it would be one that was cut off.
    end_s = 1.0 + GAP_S * len(exposures_lxs)
    parts += [(end_s + 0.1 * i, speaker.steady(end_s + 0.1 * i, DARK_CODE)) for i in range(QUIET)]
    write_recording(path, parts)
    return f"file:{path}?speed=max"


def run_set(
    rng: np.random.Generator, folder: Path, world: str, reach: str, receptor: str = "dome", *,
    declared: bool = False, misplace: bool = False, said: bool = True, lamps: list[Lamp] | None = None,
) -> Seen:  # fmt: skip
    """Build a set, meter every light and all together, and read table and checks.

    ``declared``: every light is held off 0-30 cm (at most a third of its distance) and that is typed, with a tape of 5 mm.
    ``misplace``: one frontal light within a stop of the key is held off 10-40 cm (at most half its distance), not typed.
    ``said``: the pop of all lights is declared touching (``--together@0cm``) and is; else it is as loose as the others.
    """
    lamps = draw_set(rng, world, receptor) if lamps is None else lamps
    library = folder / "blind.sqlite"
    command(library, "setup", "new", f"blind {rng.integers(10**12)}", "--iso=100", "--shutter=1/125")
    for one in lamps:
        command(library, "light", "add", one.name, *one.options())
    far = REACHES[reach]
    held = [rng.uniform(0, far) for _ in lamps]
    words = [one.name for one in lamps]
    if declared:
        held = [rng.uniform(0, min(0.3, one.stand.distance_m / 3)) for one in lamps]
        words = [f"{one.name}@{max(0.0, h + U_TAPE_M * rng.normal()) * 100:.1f}cm" for one, h in zip(lamps, held, strict=True)]
    wrong, cost, level = _misplaced(rng, lamps, held, receptor) if misplace else (None, 0.0, 0.0)
    tape = folder / f"{rng.integers(10**12)}.mlrec"
    url = played(rng, tape, [alone(rng, one, h, receptor) for one, h in zip(lamps, held, strict=True)])
    command(library, "meter", *words, f"--receptor={receptor}", "--sensor", url)
    tape.unlink()
    front = [one for one in lamps if one.role in FRONTAL]
    total = together(rng, front, rng.uniform(0, min(far, 0.02) if said else far), receptor)
    url = played(rng, tape, [total])
    command(library, "meter", "--together@0cm" if said else "--together", f"--receptor={receptor}", "--sensor", url)
    tape.unlink()
    table = json.loads(command(library, "ratios", "--json"))
    found = json.loads(command(library, "checks", "--json"))
    return Seen(_rows(table, lamps, declared), _alarm(found), wrong.name if wrong else "", cost, level)


def _misplaced(rng: np.random.Generator, lamps: list[Lamp], held: list[float], receptor: str) -> tuple[Lamp | None, float, float]:
    """Hold one light's dome off in ``held``; return the light, what it costs and how far it lies under the key, in stops."""
    near = [i for i, one in enumerate(lamps) if one.role in FRONTAL and one.gives_lxs >= lamps[0].gives_lxs / 2]
    i = int(rng.choice(near))
    one = lamps[i]
    held[i] = rng.uniform(0.1, max(0.1, min(0.4, one.stand.distance_m / 2)))
    toward = one.stand.toward
    cost = np.log2(one.at(toward * held[i], toward, receptor) / one.gives_lxs)
    return one, float(cost), float(np.log2(lamps[0].gives_lxs / one.gives_lxs))


def _rows(table: list[dict[str, Any]], lamps: list[Lamp], declared: bool) -> tuple[Row, ...]:
    true = {one.name: one.gives_lxs for one in lamps}
    key = lamps[0]
    rows = []
    for row in table:
        exposure = row["corrected_f"] ** 2 * DOME_CONSTANT / ISO
        error = float(np.log2(exposure / true[row["light"]]))
        beside = row["from_key_stops"] - float(np.log2(true[row["light"]] / key.gives_lxs))
        is_key = row["light"] == key.name
        u95 = row["from_key_u95_stops"] or 0.0
        rows.append(Row(None if is_key else beside, u95, error, row["u95_stops"], row["verdict"], declared, is_key))
    return tuple(rows)


COMPLAINTS = ("sum", "prediction", "swapped", "outlier")
"""Kinds of findings that speak against a reading."""


def _alarm(found: list[dict[str, Any]]) -> str:
    """The light that the readings speak against."""
    for one in found:
        if one["rank"] >= 0 and str(one.get("kind", one.get("code"))) in COMPLAINTS:
            return one["light"] or "all"
    return ""
