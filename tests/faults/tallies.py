"""What a fault test counts, and the one table of all of them at the end of a run, whichever worker ran them."""

from __future__ import annotations

import dataclasses

import pytest

KEY = "fault tally"


@dataclasses.dataclass(slots=True)
class Tally:
    """What one fault test did to the product, and what came of it."""

    what: str
    count: int = 0
    lost: int = 0
    doubled: int = 0
    tracebacks: int = 0
    worst_s: float = 0.0
    worst_mb: float = 0.0


class Table:
    """Collects the tallies that tests hand over with their reports, and prints them."""

    def __init__(self) -> None:
        self._rows: list[Tally] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Take a test's tally: a report's properties come from every worker."""
        if report.when == "teardown":
            self._rows += [Tally(**value) for name, value in report.user_properties if name == KEY]  # type: ignore[arg-type]

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        """Print the table."""
        if not self._rows:
            return
        terminalreporter.section("faults")
        terminalreporter.write_line(f"{'test':<68} {'count':>6} {'lost':>5} {'twice':>5} {'traces':>6} {'s':>6} {'MB':>5}")
        for one in sorted(self._rows, key=lambda row: row.what):
            figures = f"{one.count:>6} {one.lost:>5} {one.doubled:>5} {one.tracebacks:>6} {one.worst_s:>6.1f} {one.worst_mb:>5.0f}"
            terminalreporter.write_line(f"{one.what[:68]:<68} {figures}")
