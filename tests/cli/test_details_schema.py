"""The documented facts of a set-up are those that the command line keeps."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import jsonschema
from PIL import Image

from meterlink.checks.facts import FACTS
from meterlink.cli.facts import OPTIONS
from meterlink.report.page import DETAIL_WORDS, HIDDEN

SCHEMA = json.loads((Path(__file__).parents[2] / "shared" / "schema" / "details-v1.schema.json").read_text(encoding="utf-8"))
OTHERWISE = {"movement_m_s", "blur_limit_mm"}
"""Keys that an option of another name may write."""


def test_every_fact_that_can_be_typed_is_documented() -> None:
    """Options and schema name the same keys; so do the words of the sheet."""
    assert {key for _, key, *_ in OPTIONS} | OTHERWISE == set(SCHEMA["properties"])
    assert set(DETAIL_WORDS) <= set(SCHEMA["properties"])
    assert set(HIDDEN) - {"points"} <= set(SCHEMA["properties"])


def test_limits_are_those_that_are_believed() -> None:
    """The schema's limits are those of the readers."""
    for key, (low, high) in FACTS.items():
        documented = SCHEMA["properties"][key]
        if key != "camera_distance_m":
            assert (documented["minimum"], documented["maximum"]) == (low, high), key


def test_what_is_typed_follows_the_schema(small_set: Callable[..., object], tmp_path: Path) -> None:
    """An independent validator accepts what every option keeps."""
    picture = tmp_path / "best.png"
    Image.new("RGB", (60, 40), "grey").save(picture)
    values = {
        "kind": "leaf", "shutter": "1/200", "time": "3ms", "movement": "hands", "number": "0.05",
        "blur": "5px", "length": "1.3m", "words": "grey paper", "fraction": "18%", "aperture": "f/8+0.3",
        "picture": str(picture),
    }  # fmt: skip
    for option, key, how, *_ in OPTIONS:
        typed = {"colour_limit_mired": "10", "focal_length_mm": "85mm", "pixel_pitch_um": "4.3um"}.get(key, values[how])
        ran = small_set("setup", "change", option, typed)
        assert ran.code == 0, (option, ran.err)
    details = json.loads(small_set("setup", "show", "--json").out)["details"]

    assert len(details) == len(OPTIONS)
    jsonschema.Draft202012Validator(SCHEMA).validate(details)
