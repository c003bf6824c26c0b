"""Everything that meterlink raises on purpose.

::

    MeterlinkError                 one line, says what to do
    ├── UsageError                 what a person typed cannot be used           (exit code 2)
    │   ├── UnitError              a length, f-number, power, shutter, ... that cannot be read
    │   └── GeometryError          a placement or held-off distance that cannot be
    ├── LinkError                  bytes do not come or go
    │   ├── LinkNotFound           no such port, address or file
    │   ├── LinkBusy               another program holds it
    │   └── LinkLost               it was there and is gone
    │       └── RecordingEnded     a replayed recording has come to its end
    ├── WireError                  bytes came but cannot be believed
    │   ├── FrameError             COBS, length or CRC is wrong
    │   ├── UnknownVersion         a frame of a newer wire format
    │   └── DialectError           a description of a dialect that cannot be used
    ├── SensorError                the sensor cannot do what was asked
    ├── CalibrationError           no calibration, or one that does not fit the sensor or its points
    ├── AnalysisError              a waveform or a series of readings from which nothing follows
    ├── ShowingFailed              a reading is stored and could not be shown
    └── LibraryError               the file of set-ups and readings
        ├── LibraryTooNew          written by a newer meterlink
        ├── LibraryBusy            another process holds the write lock for too long
        ├── LibraryDamaged         not a library, or damaged
        ├── StorageError           disk full, folder read only
        ├── NotInLibrary           no such set-up, light or reading
        └── ImportRefused          a file from elsewhere that does not validate

Every message is one line in plain words and ends with what the reader can do.  Data that a caller may want is
kept as attributes, never only in the text.  Pure formulas raise ``ValueError`` with the allowed range; where a person may
read it, a ``FormulaError``, which is one.

An error carries its English sentence as a template and the values for its places; ``str(error)`` is the sentence in the
language in use (``words/language.py``)::

    raise UsageError("there is no light {name}: {do}", name=name, do=Do("list_lights"))
"""

from __future__ import annotations

from meterlink.words.language import say


class _Said(Exception):
    """An error whose text is made when it is read.  ``message`` is the English template, ``values`` fill its places."""

    def __init__(self, message: str, /, **values: object) -> None:
        super().__init__(message)
        self.message, self.values = message, values

    def __str__(self) -> str:
        return say(self.message, **self.values)


class FormulaError(_Said, ValueError):
    """A formula refuses its arguments, and a person may come to read why."""


class MeterlinkError(_Said):
    """Root of the tree.  ``exit_code`` is what the command line returns for it."""

    exit_code = 1


class UsageError(MeterlinkError):
    """What a person typed cannot be used as it is."""

    exit_code = 2


class UnitError(UsageError):
    """A length, f-number, power or time that cannot be read.  ``text`` is what was typed."""

    def __init__(self, message: str, text: str = "", /, **values: object) -> None:
        super().__init__(message, **values)
        self.text = text


class GeometryError(UsageError):
    """A placement, distance or held-off distance that cannot be."""


class LinkError(MeterlinkError):
    """Bytes do not come or go.  ``url`` names the link."""

    def __init__(self, message: str, url: str = "", /, **values: object) -> None:
        super().__init__(message, **values)
        self.url = url or str(values.get("url", ""))


class LinkNotFound(LinkError):
    """There is no such port, address or file."""


class LinkBusy(LinkError):
    """Another program holds the port or the sensor."""


class LinkLost(LinkError):
    """The link was open and is gone (unplugged, out of range)."""


class RecordingEnded(LinkLost):
    """A replayed recording has come to its end: nothing more will come, trying again is of no use."""


class WireError(MeterlinkError):
    """Bytes came but cannot be believed."""


class FrameError(WireError):
    """A frame with wrong COBS, length or CRC.  ``reason``: ``cobs``, ``length``, ``crc`` or ``body``."""

    def __init__(self, message: str, reason: str, /, **values: object) -> None:
        super().__init__(message, **values)
        self.reason = reason


class DialectError(WireError):
    """A description of a sensor dialect that cannot be used."""


class SensorError(MeterlinkError):
    """The sensor cannot do what was asked (a steady-light sensor asked for a pop, ...)."""


class CalibrationError(MeterlinkError):
    """No calibration, or one that does not fit the sensor, its range or its points."""


class AnalysisError(MeterlinkError):
    """A waveform or a series of readings from which nothing can be said."""


class ShowingFailed(MeterlinkError):
    """What was measured is stored, and could not be shown: the output is closed, full or broken."""


class LibraryError(MeterlinkError):
    """Something about the file of set-ups and readings."""


class LibraryTooNew(LibraryError):
    """The library was written by a newer meterlink.  ``version`` is the schema number found."""

    def __init__(self, message: str, version: int, /, **values: object) -> None:
        super().__init__(message, **values)
        self.version = version


class LibraryBusy(LibraryError):
    """Another process holds the write lock for longer than we wait."""


class LibraryDamaged(LibraryError):
    """The file is not a library or is damaged."""


class StorageError(LibraryError):
    """The disk is full or the folder cannot be written."""


class NotInLibrary(LibraryError):
    """No such set-up, light, placement, reading or calibration."""

    exit_code = 2


class ImportRefused(LibraryError):
    """A file from elsewhere that does not validate; nothing of it was taken."""


def one_line(error: Exception) -> str:
    """What an error of somebody else's says, on one short line."""
    text = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return " ".join(str(text).split())[:120]
