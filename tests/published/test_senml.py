"""The examples of RFC 8428 (Sensor Measurement Lists), sections 5.1.1 to 5.1.7, and rules of its section 4."""

from __future__ import annotations

import json
from typing import Any

import pytest

from meterlink.records import Steady
from meterlink.sensor.dialects.dialect_file import make_decoder, parse_dialect
from meterlink.sensor.dialects.quantities import Refused
from meterlink.sensor.dialects.senml import Record, Resolver

DEVICE = "urn:dev:ow:10e2073a01080063"
MEASUREMENTS = f"""[
 {{"bn":"{DEVICE}","bt":1.320067464e+09,"bu":"%RH","v":20}},
 {{"u":"lon","v":24.30621}}, {{"u":"lat","v":60.07965}},
 {{"t":60,"v":20.3}}, {{"u":"lon","t":60,"v":24.30622}}, {{"u":"lat","t":60,"v":60.07965}},
 {{"t":120,"v":20.7}}, {{"u":"lon","t":120,"v":24.30623}}, {{"u":"lat","t":120,"v":60.07966}},
 {{"u":"%EL","t":150,"v":98}},
 {{"t":180,"v":21.2}}, {{"u":"lon","t":180,"v":24.30628}}, {{"u":"lat","t":180,"v":60.07967}}]"""
RESOLVED = [
    ("%RH", 1320067464, 20), ("lon", 1320067464, 24.30621), ("lat", 1320067464, 60.07965),
    ("%RH", 1320067524, 20.3), ("lon", 1320067524, 24.30622), ("lat", 1320067524, 60.07965),
    ("%RH", 1320067584, 20.7), ("lon", 1320067584, 24.30623), ("lat", 1320067584, 60.07966),
    ("%EL", 1320067614, 98),
    ("%RH", 1320067644, 21.2), ("lon", 1320067644, 24.30628), ("lat", 1320067644, 60.07967),
]  # fmt: skip


def pack(text: str) -> list[Record]:
    """Resolve one pack."""
    return resolved(json.loads(text))


def resolved(records: list[Any]) -> list[Record]:
    """Records of one pack, in chronological order (section 4.6)."""
    resolver = Resolver()
    found = [record for raw in records if (record := resolver.resolve(raw)) is not None]
    return sorted(found, key=lambda record: record.time_s)


def test_single_data_point() -> None:
    """5.1.1: a reading taken about now."""
    assert pack(f'[{{"n":"{DEVICE}","u":"Cel","v":23.1}}]') == [Record(DEVICE, "Cel", 23.1)]


def test_multiple_data_points_share_the_base_name() -> None:
    """5.1.2: the base name is put before each name."""
    records = pack(f'[{{"bn":"{DEVICE}:","n":"voltage","u":"V","v":120.1}},{{"n":"current","u":"A","v":1.2}}]')
    assert records == [Record(f"{DEVICE}:voltage", "V", 120.1), Record(f"{DEVICE}:current", "A", 1.2)]


def test_base_time_unit_and_version() -> None:
    """5.1.2: base time and times are added, the base unit fills in, version 5 is older than ours and read."""
    text = """[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
      "n":"voltage","u":"V","v":120.1},{"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},
      {"n":"current","t":-3,"v":1.4},{"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},
      {"n":"current","v":1.7}]"""
    records = pack(text)
    assert [(r.unit, r.value) for r in records if r.unit == "A"] == [("A", v) for v in (1.2, 1.3, 1.4, 1.5, 1.6, 1.7)]
    assert records[0].time_s == pytest.approx(1276020071.001, abs=1e-6)
    assert records[-1].time_s == pytest.approx(1276020076.001, abs=1e-6)
    assert all(record.absolute for record in records)


def test_resolved_data() -> None:
    """5.1.3 resolves to 5.1.4, record by record."""
    assert pack(MEASUREMENTS) == [Record(DEVICE, unit, value, None, time) for unit, time, value in RESOLVED]


def test_multiple_data_types() -> None:
    """5.1.5: numbers, strings, booleans and data."""
    records = pack(
        f'[{{"bn":"{DEVICE}:","n":"temp","u":"Cel","v":23.1}},{{"n":"label","vs":"Machine Room"}},'
        '{"n":"open","vb":false},{"n":"nfv-reader","vd":"aGkgCg"}]'
    )
    assert [record.value for record in records] == [23.1, "Machine Room", False, None]
    assert records[3].data == "aGkgCg"


def test_collection_of_resources() -> None:
    """5.1.6: a later base name replaces the first, the base time goes on."""
    records = pack(
        '[{"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},'
        '{"n":"humidity","u":"%RH","v":30},{"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},'
        '{"n":"humidity","u":"%RH","v":67}]'
    )
    assert records[-1] == Record("2001:db8::1/humidity", "%RH", 67.0, None, 1320078429.0)


def test_a_record_of_base_values_only_is_no_measurement() -> None:
    """5.1.7: the first record only sets the base name."""
    text = f'[{{"bn":"{DEVICE}:"}},{{"n":"temp","u":"Cel","v":23.1}},{{"n":"heat","u":"/","v":1}}]'
    assert [record.name for record in pack(text)] == [f"{DEVICE}:temp", f"{DEVICE}:heat"]


def test_base_value_and_sum_are_added() -> None:
    """4.5.4: base value and base sum are added, a missing one counts as zero."""
    records = pack('[{"bn":"a","bv":100,"bs":10,"v":1,"s":2},{"v":3}]')
    assert [(record.value, record.sum) for record in records] == [(101.0, 12.0), (103.0, 10.0)]


@pytest.mark.parametrize(
    ("record", "reason"),
    [
        ({"n": "a", "v": 1, "vs": "x"}, "value"),
        ({"n": "a", "t": 5}, "value"),
        ({"n": "_a", "v": 1}, "name"),
        ({"n": "a b", "v": 1}, "name"),
        ({"v": 1}, "name"),
        ({"n": "a", "v": "1"}, "type"),
        ({"n": "a", "v": True}, "type"),
        ({"n": "a", "v": 1, "must_": 1}, "label"),
        ({"n": "a", "v": 1, "bver": 11}, "version"),
        ({"n": "a", "v": 1, "bver": 0}, "version"),
        ([], "type"),
    ],
)
def test_what_the_standard_forbids_is_refused(record: Any, reason: str) -> None:
    """4.2 one value, 4.4 labels with '_' and newer versions, 4.5.1 names, table 1 types."""
    with pytest.raises(Refused) as refused:
        resolved([record])
    assert refused.value.reason == reason


def test_unknown_labels_are_ignored() -> None:
    """4.4: a field that is not known and does not end in '_' is passed over."""
    assert resolved([{"n": "a", "v": 1, "xyz": [1]}]) == [Record("a", "", 1.0)]


def test_versions_within_one_pack_must_agree() -> None:
    """4.4: all records of a pack have the same version."""
    with pytest.raises(Refused):
        resolved([{"bver": 5, "n": "a", "v": 1}, {"bver": 10, "n": "a", "v": 1}])


def test_secondary_units_feature_is_no_obstacle() -> None:
    """RFC 9100: version 26 is version 10 with secondary units, which change nothing for records in lx."""
    assert resolved([{"bver": 26, "n": "a", "u": "lx", "v": 5}])[0].value == 5.0


def test_stream_is_read_before_its_array_ends() -> None:
    """4.8: each record of a stream is used as soon as it is there, in any cut of the bytes."""
    stream = f'[{{"bn":"{DEVICE}","bu":"lx","v":21.2}},\n {{"t":-1,"v":21.3}},\n {{"v":21.4}}'.encode()
    decoder = make_decoder("senml")
    found = [sample for i in range(len(stream)) for sample in decoder.feed(stream[i : i + 1], 100.0)]
    assert found[1:] == [
        Steady(100.0, None, illuminance_lx=21.2),
        Steady(99.0, None, illuminance_lx=21.3),
        Steady(100.0, None, illuminance_lx=21.4),
    ]


def test_units_of_other_things_are_not_light() -> None:
    """The pack of 5.1.3 has humidity and places, and a battery level that everybody may use, but no light."""
    found = make_decoder("senml").feed(MEASUREMENTS.encode(), 0.0)
    assert [type(sample).__name__ for sample in found] == ["Identity", "Battery"]
    assert found[1].fraction == pytest.approx(0.98)


def test_records_are_chosen_by_the_end_of_their_name() -> None:
    """A dialect may say which of several records in lx is the dome."""
    dialect = parse_dialect('format=1\nname="two"\nkind="senml"\n[illuminance]\nunit="lx"\nname="dome"')
    found = make_decoder(dialect).feed(b'[{"bn":"a/","bu":"lx","n":"room","v":1},{"n":"dome","v":2}]', 0.0)
    assert [sample.illuminance_lx for sample in found[1:]] == [2.0]
