"""Descriptions of dialects: what is shipped works, what cannot be used is refused in one clear line."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from meterlink.errors import DialectError, UsageError
from meterlink.sensor.dialects.dialect_file import (
    complete_url,
    find_dialect,
    load_dialect,
    make_decoder,
    parse_dialect,
    shipped_dialects,
)
from meterlink.sensor.link.registry import link_for

GOOD = 'format = 1\nname = "mine"\nkind = "text"\n[illuminance]\nunit = "lx"\n'


def test_shipped_dialects_are_of_every_kind_and_named_like_their_files() -> None:
    """Each kind has an example, and every one makes a decoder that sees steady light only."""
    dialects = shipped_dialects()
    assert {dialect.kind for dialect in dialects} == {"text", "csv", "json", "senml", "modbus"}
    assert len({dialect.name for dialect in dialects}) == len(dialects) >= 9
    for dialect in dialects:
        assert make_decoder(dialect).dialect == dialect.name == find_dialect(dialect.name).name


def test_own_file(tmp_path: Path) -> None:
    """A file of one's own is used by its path."""
    path = tmp_path / "mine.toml"
    path.write_text(GOOD, "utf-8")
    assert find_dialect(str(path)) == load_dialect(path)
    assert make_decoder(str(path)).dialect == "mine"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("format = ", "not a TOML file"),
        (GOOD.replace("format = 1", "format = 2"), "format must be 1"),
        (GOOD.replace('"text"', '"xml"'), "kind is 'xml'; use one of text, csv"),
        (GOOD.replace('"mine"', '"my sensor"'), "name must be letters"),
        (GOOD.replace('"mine"', '"meterlink-1"'), "is taken"),
        (GOOD.replace('unit = "lx"', 'unit = "lumen"'), "[illuminance] unit is 'lumen'; use one of 'lx'"),
        (GOOD + 'lable = "E"\n', "[illuminance] 'lable' is not known here; use constant_lx, iso, label"),
        (GOOD + "scale = 0\n", "[illuminance] scale must not be 0"),
        (GOOD + 'scale = "2"\n', "[illuminance] scale must be a number"),
        (GOOD + "scale = nan\n", "[illuminance] scale must be a number"),
        (GOOD + "iso = 100\n", "both iso and constant_lx"),
        (GOOD.replace('"lx"', '"EV"'), "both iso and constant_lx"),
        (GOOD + "[serial]\nbaud = 10\n", "[serial] baud must be a whole number from 50"),
        (GOOD + '[serial]\nparity = "mark"\n', "parity is 'mark'; use one of none, even, odd"),
        (GOOD.split("[ill")[0], "no quantity is described"),
        ("illuminance = 3\n" + GOOD.split("[ill")[0], "write [illuminance] on a line of its own"),
        (GOOD + '[ask]\ntext = ""\n', "[ask] text must be what asks"),
        (GOOD.replace('"text"', '"csv"'), "column must be its number"),
        (GOOD.replace('"text"', '"csv"') + 'column = "lux"\n', "add header = true"),
        (GOOD.replace('"text"', '"csv"\ndecimal = ","') + "column = 1\n", "the same sign"),
        (GOOD.replace('"text"', '"json"'), "path must say where"),
        (GOOD.replace('"text"', '"modbus"'), "register must be a whole number"),
        (GOOD.replace('"text"', '"modbus"') + 'register = 1\ntype = "int64"\n', "type is 'int64'; use one of uint16"),
        (
            GOOD.replace('"text"', '"modbus"') + 'register = 1\n[cct]\nunit = "K"\nregister = 900\n',
            "within 64 of each other",
        ),
        (
            GOOD.replace('"text"', '"modbus"') + 'register = 1\n[cct]\nunit = "K"\nregister = 2\ntable = "input"\n',
            "of one table",
        ),
    ],
)
def test_what_is_wrong_is_said_with_what_would_be_right(text: str, says: str) -> None:
    """One line, with the file, the table and the key."""
    with pytest.raises(DialectError) as error:
        parse_dialect(text, "mine.toml")
    message = str(error.value)
    assert says in message
    assert message.startswith("mine.toml: ")
    assert "\n" not in message


def test_files_that_are_no_dialects(tmp_path: Path) -> None:
    """Missing, a folder, too large, not text, unknown name: one line each."""
    (tmp_path / "big.toml").write_bytes(b"#" * 70_000)
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe")
    cases = {"none.toml": "check the path", "": "not a file", "pipe": "not a file", "big.toml": "64 KB", "bytes.toml": "UTF-8"}
    for name, says in cases.items():
        with pytest.raises(DialectError, match=says):
            load_dialect(tmp_path / name)
    with pytest.raises(DialectError, match="no dialect 'nonsense'; known are meterlink-1"):
        find_dialect("nonsense")


@pytest.mark.parametrize(
    ("url", "complete"),
    [
        ("serial:a?dialect=fc-comma", "serial:a?baud=2400&data_bits=7&parity=even&dialect=fc-comma"),
        ("serial:COM3?dialect=csv-bench&baud=9600", "serial:COM3?baud=9600&dialect=csv-bench"),
        ("serial:COM3?baud=9600", "serial:COM3?baud=9600"),
        ("serial:COM3?dialect=meterlink-1", "serial:COM3?dialect=meterlink-1"),
        ("socket://host:1?dialect=lux-lines", "socket://host:1?dialect=lux-lines"),
        ("ble:C0:FF:EE:00:00:01?dialect=lux-lines", "ble:C0:FF:EE:00:00:01?dialect=lux-lines"),
    ],
)
def test_url_takes_the_settings_of_its_dialect(url: str, complete: str) -> None:
    """Speed and coding come from the dialect unless the URL says otherwise; other kinds of link have none."""
    assert complete_url(url) == complete


@pytest.mark.parametrize("query", ["parity=mark", "data_bits=9", "stop_bits=1.5", "flow=none"])
def test_serial_settings_that_cannot_be(query: str) -> None:
    """A coding that no port has is refused with what it may be."""
    with pytest.raises(UsageError, match="use one of"):
        link_for(f"serial:COM3?{query}")
