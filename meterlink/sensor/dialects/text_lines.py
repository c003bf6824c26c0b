"""Lines of text: one or more numbers, each with a unit or a label (``512.3 lx``, ``E: 47,6 fc; T: 5600 K``)."""

from __future__ import annotations

import re

from meterlink.records import Sample
from meterlink.sensor.dialects.lines import LineDecoder
from meterlink.sensor.dialects.quantities import Field, Refused, known_unit, put, samples

_PART = re.compile(
    r"\s*(?:(?P<label>[A-Za-z][A-Za-z0-9_.#/()-]{0,31})\s*(?:[:=]\s*|\s(?=[\s+\-0-9.])))?"
    r"\s*(?P<number>[+-]?(?:\d{1,12}(?:[.,]\d{0,12})?|[.,]\d{1,12})(?:[eE][+-]?\d{1,2})?)"
    r"\s*(?P<unit>[A-Za-z%][A-Za-z0-9/%.-]{0,15})?\s*",
    re.ASCII,
)
_WORD = re.compile(
    r"\s*(?:(?P<label>[A-Za-z][A-Za-z0-9_.#/()-]{0,31})\s*[:=])?\s*(?P<word>[A-Za-z+-][A-Za-z0-9+._ -]{0,15}?)\s*",
    re.ASCII,
)
_BLANKS = re.compile(r"\s+", re.ASCII)
_SEPARATOR = re.compile(r"[;\t|]|,\s+")


class TextLineDecoder(LineDecoder):
    """Decoder of lines such as ``512.3 lx``.  A number without a unit and a label is the illuminance."""

    def line(self, text: str, at_s: float) -> list[Sample]:
        """Return the samples of one line; the whole line must be understood."""
        comment = self._dialect.comment
        if comment and text.startswith(comment):
            return []
        if comment:
            text = text.partition(f" {comment}")[0]
        values: dict[str, float] = {}
        overload = False
        # Blanks in a row become one: what is left for the patterns to try then grows with the line, not with its cube.
        for part in _SEPARATOR.split(_BLANKS.sub(lambda blanks: "\t" if "\t" in blanks[0] else " ", text)):
            if not part.strip():
                continue
            overload |= self._part(part, values)
        return samples(values, at_s, overload)

    def _part(self, part: str, values: dict[str, float]) -> bool:
        """Put the value of one part into ``values``; return True when it says that there is too much light."""
        match = _PART.fullmatch(part)
        if match is None:
            return self._word(part, values)
        number, unit = match["number"], match["unit"] or ""
        field = self._field(match["label"] or "", unit)
        if field is None:
            return False
        if self._dialect.decimal == ",":
            number = number.replace(",", ".")
        elif "," in number:
            raise Refused("number")
        return put(values, field, float(number), unit)

    def _word(self, part: str, values: dict[str, float]) -> bool:
        """Understand a part that has no number: a word for too much light, or for nothing known."""
        match = _WORD.fullmatch(part)
        if match is None:
            raise Refused("text")
        for field in self._dialect.fields:
            if match["word"] in (*field.overload, *field.not_known):
                return put(values, field, match["word"])
        raise Refused("text")

    def _field(self, label: str, unit: str) -> Field | None:
        """Return what a number is by its label, else by its unit, else the illuminance.

        None is a number that the dialect does not name (a counter, a temperature): it is passed over, but only when
        it has a label; a bare unknown unit is damage.
        """
        for named in self._dialect.fields:
            if named.where and label == named.where:
                return named
        quantity = known_unit(unit) if unit or label else "illuminance"
        field = self._dialect.field(quantity)
        if field is None and not label:
            raise Refused("unit")
        # A field that has a label of its own is not to be guessed from a unit beside another label.
        return None if field is not None and field.where and label else field
