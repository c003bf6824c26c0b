"""Where the files are that firmware, reader, app and tests have in common (``shared/`` of the project)."""

from __future__ import annotations

import os

from meterlink.errors import MeterlinkError

_HERE = os.path.dirname(os.path.abspath(__file__))
_PLACES = (
    os.path.join(os.path.dirname(_HERE), "shared"),  # a clone, or an editable install
    os.path.join(os.path.dirname(_HERE), "meterlink_shared"),  # installed: pyproject.toml maps shared/ to it
)


def shared_path(*parts: str) -> str:
    """Return the path of a shared file, such as ``shared_path("demo", "set.json")``.

    Raises MeterlinkError when the installation is incomplete.
    """
    for place in _PLACES:
        path = os.path.join(place, *parts)
        if os.path.exists(path):
            return path
    raise MeterlinkError(f"the file {'/'.join(parts)} is missing from this installation: install meterlink again")
