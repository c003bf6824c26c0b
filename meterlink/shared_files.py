"""Where the files are that firmware, reader, app and tests have in common (``shared/`` of the project)."""

from __future__ import annotations

from pathlib import Path

from meterlink.errors import MeterlinkError

_HERE = Path(__file__).resolve().parent
_PLACES = (
    _HERE.parent / "shared",  # a clone, or an editable install
    _HERE / "shared_data",  # installed: pyproject.toml puts shared/ there
)


def shared_path(*parts: str) -> Path:
    """Return the path of a shared file, such as ``shared_path("demo", "set.json")``.

    Raises MeterlinkError when the installation is incomplete.
    """
    for place in _PLACES:
        path = place.joinpath(*parts)
        if path.exists():
            return path
    raise MeterlinkError("the file {parts} is missing from this installation: install meterlink again", parts='/'.join(parts))
