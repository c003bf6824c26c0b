"""What tests of several verbs read from the command line."""

from __future__ import annotations

import json
from collections.abc import Callable

Run = Callable[..., object]


def placed(run: Run, name: str) -> dict[str, object]:
    """The light of this name as data, with its placement."""
    return next(one for one in json.loads(run("light", "list", "--json").out) if one["name"] == name)
