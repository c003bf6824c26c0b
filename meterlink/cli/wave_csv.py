"""Waveforms as CSV (RFC 4180), one row a sample, safe for spreadsheets."""

from __future__ import annotations

import csv
import io
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

from meterlink.library.files import write_whole
from meterlink.report.wave import Trace

HEADINGS = ("light", "time_s", "illuminance_lx", "above_ambient_lx")
RISKY = ("=", "+", "-", "@", "\t", "\r")
"""A cell of text that begins so would be run as a formula by a spreadsheet."""


def safe_text(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula: such a one gets an apostrophe in front."""
    plain = " ".join(text.split())
    return f"'{plain}" if plain.startswith(RISKY) or text.startswith(RISKY) else plain


def rows(traces: Iterable[Trace]) -> Iterable[tuple[str, str, str, str]]:
    """Return the rows below the headings; time is from the first rise through a tenth of the peak."""
    for trace in traces:
        name, ambient = safe_text(trace.name), trace.ambient_lx
        for time_s, light_lx in zip(trace.times_s, trace.light_lx, strict=True):
            yield name, f"{time_s:.9f}", f"{light_lx:.6g}", f"{light_lx - ambient:.6g}"


def write_csv(path: str, traces: Sequence[Trace]) -> None:
    """Write the samples to a file, or to standard output for ``-``.  Raises StorageError; nothing half-written stays."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(HEADINGS)
    writer.writerows(rows(traces))
    if path == "-":
        sys.stdout.write(text.getvalue().replace("\r\n", "\n"))
        return
    write_whole(Path(path), text.getvalue().encode())
