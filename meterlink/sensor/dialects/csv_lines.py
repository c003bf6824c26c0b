"""Lines of columns, by number or by the names in a header line."""

from __future__ import annotations

import csv

from meterlink.records import Sample
from meterlink.sensor.dialects.dialect import Dialect
from meterlink.sensor.dialects.lines import LineDecoder
from meterlink.sensor.dialects.quantities import Field, Refused, put, samples

MAX_COLUMNS = 64


class CsvLineDecoder(LineDecoder):
    """Decoder of columns.  With a header, columns are found by name, and nothing is believed before it was seen.

    ``reset`` keeps the header: a sensor sends it once, at its start.
    """

    def __init__(self, dialect: Dialect, sensor_id: str = "") -> None:
        super().__init__(dialect, sensor_id)
        self._names: list[str] = []

    def line(self, text: str, at_s: float) -> list[Sample]:
        """Return the samples of one row."""
        dialect = self._dialect
        if dialect.comment and text.startswith(dialect.comment):
            return []
        try:
            (row,) = csv.reader([text], delimiter=dialect.delimiter, skipinitialspace=True, strict=True)
        except (csv.Error, ValueError):
            raise Refused("text") from None
        if len(row) > MAX_COLUMNS:
            raise Refused("columns")
        row = [cell.strip() for cell in row]
        if dialect.header and self._is_header(row):
            return []
        return self._row(row, at_s)

    def _is_header(self, row: list[str]) -> bool:
        wanted = [field.where for field in self._dialect.fields if isinstance(field.where, str)]
        if all(name in row for name in wanted):
            self._names = row
            return True
        if not self._names:
            raise Refused("header")
        return False

    def _row(self, row: list[str], at_s: float) -> list[Sample]:
        # A row of another length has lost or gained something on the way: which column is which is then not known.
        if self._names and len(row) != len(self._names):
            raise Refused("columns")
        values: dict[str, float] = {}
        overload = False
        for field in self._dialect.fields:
            cell = self._cell(row, field)
            if cell:
                is_word = cell in (*field.not_known, *field.overload)
                overload |= put(values, field, cell if is_word else self._number(cell))
        return samples(values, at_s, overload)

    def _cell(self, row: list[str], field: Field) -> str:
        try:
            place = field.where - 1 if isinstance(field.where, int) else self._names.index(field.where)
            return row[place]
        except (ValueError, IndexError):
            raise Refused("columns") from None

    def _number(self, cell: str) -> float:
        if self._dialect.decimal == ",":
            cell = cell.replace(",", ".")
        # float() takes underscores, 'nan', 'inf' and digits of other scripts; a sensor does not send them.
        if not cell.isascii() or "_" in cell or not any(sign.isdigit() for sign in cell):
            raise Refused("number")
        try:
            return float(cell)
        except ValueError:
            raise Refused("number") from None
