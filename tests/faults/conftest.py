"""Fault tests count what they did; at the end of the run stands one table of all of them."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from tallies import ALL, Tally


@pytest.fixture
def tally(request: pytest.FixtureRequest) -> Iterator[Tally]:
    """Count of one test: it fills it in as it goes."""
    counted = Tally(request.node.name)
    ALL.append(counted)
    yield counted
    assert (counted.lost, counted.doubled, counted.tracebacks) == (0, 0, 0)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print the table."""
    if not ALL:
        return
    terminalreporter.section("faults")
    terminalreporter.write_line(f"{'test':<68} {'count':>6} {'lost':>5} {'twice':>5} {'traces':>6} {'s':>6} {'MB':>5}")
    for one in ALL:
        figures = f"{one.count:>6} {one.lost:>5} {one.doubled:>5} {one.tracebacks:>6} {one.worst_s:>6.1f} {one.worst_mb:>5.0f}"
        terminalreporter.write_line(f"{one.what[:68]:<68} {figures}")
