"""What one pop costs, from the measurement to table, checks and the next expectation, beside what the library already holds.

A set of 30 lights whose heads stood in every other set, in a library of a million readings, against the same set alone in a fresh
one: what is known of the heads is bounded (newest sets only), loaded and judged once, so a pop costs the same.

Goals: a pop at most 1.3 x alone; at most 15 SQL statements; one reading judged.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from benchmarks.bench_library import million
from benchmarks.side_by_side import Goal, print_goals, ratios
from meterlink.library import Library
from meterlink.metering.session import Session
from meterlink.records import Calibration, Light, Measurement, Placement, RangeScale, Setup, new_id

LIGHTS = 30


class Studio:
    """A set of 30 lights with a reading each, and pops for it."""

    def __init__(self, path: Path) -> None:
        self.library = Library.open(path)
        calibration = Calibration(new_id(), "dome", time.time(), 330.0, ranges=(RangeScale(1e6),))
        self.library.add_calibration(calibration)
        setup = Setup(new_id(), f"Thirty {new_id()}", time.time(), shutter_s=1 / 128)
        self.library.add_setup(setup)
        self.session = Session(self.library, setup.id)
        for n in range(LIGHTS):
            light = Light(new_id(), setup.id, f"Light {n}", "key" if n == 0 else "other", order=n, fixture=f"head {n % 20}")
            direction = {"azimuth_deg": 5.0 * n - 75.0, "elevation_deg": 20.0}
            where = Placement(
                new_id(), light.id, time.time(), "disk", 0.9, None, 1.4, power_text="1/4", power_stops=-2.0, **direction
            )
            self.session.add_light(light, where)
        self.calibration_id = calibration.id
        self.at_s = 0.0
        for _ in range(LIGHTS):
            self.pop()

    def pop(self) -> None:
        """One pop, and all that is shown after it."""
        session = self.session
        if session.walk.waiting is None:
            session.begin(session.request(one, held_off_m=0.0) for one in session.lights())
        self.at_s += 5.0
        flash = Measurement("flash", self.at_s, "dome", self.calibration_id, exposure_lxs=3.0, u_rel=0.005, peak_lx=6e3)
        outcome = session.take(flash)
        assert outcome.kind == "logged", outcome
        session.ratios()
        session.checks()
        session.expected()


def statements(studio: Studio) -> tuple[int, int]:
    """Return the SQL statements of a pop, and the readings that were judged for it."""
    said: list[str] = []
    before = studio.session.known.judge.count
    studio.library.db.connection.set_trace_callback(said.append)
    studio.pop()
    studio.library.db.connection.set_trace_callback(None)
    return len(said), studio.session.known.judge.count - before


def goals(folder: Path, count: int, rounds: int) -> Iterator[Goal]:
    """Measure side by side."""
    path, _ = million(folder, count, heads=True)
    alone, full = Studio(folder / "alone.sqlite"), Studio(path)
    found = ratios({"alone": alone.pop, "full": full.pop}, rounds)
    said, judged = statements(full)
    yield Goal(f"a pop in a set of {LIGHTS} among {count:,} readings / alone", found["full"], "<=", 1.3)
    yield Goal("SQL statements of a pop and all that is shown of it", said, "<=", 15)
    yield Goal("readings judged for a pop", judged, "<=", 1)
    started = time.perf_counter()
    full.pop()
    print(f"a pop with table, checks and the next expectation: {1e3 * (time.perf_counter() - started):.1f} ms")


def main(rounds: int = 15, count: int = 1_000_000) -> None:
    """Print the goals."""
    with tempfile.TemporaryDirectory() as folder:
        print_goals("one pop", list(goals(Path(folder), count, rounds)))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=1_000_000)
    main(count=parser.parse_args().count)
