"""The README is true: its table is the demo's, its commands are understood."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from pathlib import Path

import pytest

from meterlink.cli.main import VERBS, module_of, parse

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_table_is_what_the_demo_prints(ml: Callable[..., object]) -> None:
    """Line by line, what the README shows is the ratio table after the demo."""
    ml("demo")
    printed = ml("ratios").out

    block = next(one for one in re.findall(r"```\n(.*?)```", README, re.DOTALL) if one.startswith("Potter"))
    assert [line.rstrip() for line in block.splitlines()] == [line.rstrip() for line in printed.splitlines()]


def commands() -> list[str]:
    """Every meterlink command that stands in a block of the README."""
    blocks = re.findall(r"```\n(.*?)```", README, re.DOTALL)
    return [line.split("#")[0].strip() for block in blocks for line in block.splitlines() if line.startswith("meterlink ")]


@pytest.mark.parametrize("command", commands())
def test_every_command_of_the_readme_is_understood(command: str) -> None:
    """The verb is there and takes these arguments."""
    words = shlex.split(command)[1:]

    parse(words[0], words[1:])


EXAMPLE = re.compile(r"^  (meterlink .*?)(?:   .*)?$", re.MULTILINE)


def examples() -> list[str]:
    """Every example in the help of every verb."""
    return [line.strip() for verb in VERBS for line in EXAMPLE.findall(module_of(verb).__doc__ or "")]


@pytest.mark.parametrize("command", examples())
def test_every_example_in_the_help_is_understood(command: str) -> None:
    """An example that one copies works as it stands."""
    words = shlex.split(command)[1:]

    parse(words[0], words[1:])
