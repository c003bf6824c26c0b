"""The ratio table of a set: what every light gives at its point, against the key.

Ratios use the light at the point after correction.  What two readings share (the absolute scale of one calibration)
cancels and is left out of their ratio; readings of different receptors or calibrations are not mixed in silence.
"""

from math import hypot, log2
from typing import Any, NamedTuple

from meterlink.judging.aim import carried_to_camera
from meterlink.judging.judged_set import JudgedSet, LightState, value_of
from meterlink.judging.verdict import RETAKE
from meterlink.photometry.exposure import f_number
from meterlink.photometry.series import nearest_f_number
from meterlink.records import Reading
from meterlink.records.kept import OWN_POINT_ROLES
from meterlink.words.actions import Do
from meterlink.words.told import NOTHING, Told, all_of, plain, told

STOPS_PER_RELATIVE = 1.4426950408889634
"""1 / ln 2: a small relative uncertainty in stops."""


class RatioRow(NamedTuple):
    """One light of the table.  ``None`` is 'not known'; stops are positive for more light."""

    light: str
    role: str
    point: str
    as_read_f: float | None = None
    corrected_f: float | None = None
    correction_stops: float | None = None
    from_key_stops: float | None = None
    from_key_u95_stops: float | None = None
    light_over_key: float | None = None
    share: float | None = None
    verdict: str | None = None
    said: Told = NOTHING
    """What decided the verdict, or what is missing."""
    u95_stops: float | None = None
    """Expanded uncertainty (k=2) of the corrected value without the shared calibration scale."""
    inverse_square_stops: float | None = None
    """What plain inverse square would have corrected: shown so that one learns how much the size of the source does."""
    held_off_m: float | None = None
    t01_s: float | None = None
    stale: bool = False
    expected: bool = False
    """The value is what is to be expected after a small turn that was told and made: not metered since."""

    @property
    def reason(self) -> str:
        """What decided the verdict, or what is missing, in words."""
        return str(self.said)

    def as_json(self) -> Any:
        """Return the row as JSON data."""
        return plain(self, said="reason")


class Aperture(NamedTuple):
    """What to set on the camera: the nearest third of a stop and what is left over."""

    f: float
    """Exact value asked for."""
    nominal: str
    """Nearest nominal third, such as ``f/9``."""
    left_over_stops: float
    """How much the exact value is above the nominal one: positive, the picture gets so much too light."""
    u95_stops: float
    """Expanded uncertainty including the calibration scale."""


class RatioTable(NamedTuple):
    """All that the table shows."""

    rows: tuple[RatioRow, ...]
    key: str | None
    key_to_fill: float | None = None
    """Incident: key : fill, each alone."""
    key_and_fill_to_fill: float | None = None
    """Highlight to shadow: (key + fill) : fill."""
    aperture_key: Aperture | None = None
    aperture_key_and_fill: Aperture | None = None
    notes: tuple[Told, ...] = ()
    """What has to be known beside the figures."""
    key_to_fill_u95_stops: float | None = None
    """Expanded uncertainty (k=2) of ``key_to_fill``, in stops."""
    key_and_fill_to_fill_u95_stops: float | None = None
    """Expanded uncertainty (k=2) of ``key_and_fill_to_fill``, in stops."""
    lighting_ratio_doubtful: bool = False
    """Whether key or fill has to be metered again: both ratios are then in doubt."""

    @property
    def lighting_ratio_words(self) -> tuple[str, str]:
        """Both ratios with their uncertainty as they are written, ``4:1 ± 0.2 stop``; empty texts when there are none."""
        if self.key_to_fill is None:
            return "", ""
        code = "lighting_ratio_doubtful" if self.lighting_ratio_doubtful else "lighting_ratio"
        incident = told(code, ratio=self.key_to_fill, u95=self.key_to_fill_u95_stops)
        return str(incident), str(told(code, ratio=self.key_and_fill_to_fill, u95=self.key_and_fill_to_fill_u95_stops))


def exposure_lxs(value: float, kind: str, shutter_s: float | None) -> float | None:
    """Luminous exposure over the shutter: a flash gives it whole, steady light E·t (None without a shutter)."""
    if kind == "flash":
        return value
    return None if shutter_s is None else value * shutter_s


def reading_f(value: float, reading: Reading, view: JudgedSet) -> float | None:
    """f-number that a value read with this reading's calibration stands for; None when it cannot be said."""
    calibration = view.calibrations.get(reading.calibration_id)
    exposure = exposure_lxs(value, reading.kind, view.setup.shutter_s)
    if calibration is None or exposure is None or not exposure > 0:
        return None
    return f_number(exposure, view.setup.iso, calibration.constant)


class AsKey(NamedTuple):
    """How a light's value is set against the key's."""

    factor: float
    """Makes lx·s in the key's aim of the light's own value (lx stays lx when no shutter is set and all is steady)."""
    u_stops: float
    """Of the turn into the key's aim."""
    camera: float | None
    """Part of the exposure that a receptor sees that is turned to the camera; None: not known."""


def as_key(state: LightState, key: Reading, view: JudgedSet) -> AsKey | Told:
    """Return how a light's reading is set against the key's, or say why it cannot be."""
    reading, shutter_s = state.reading, view.setup.shutter_s
    assert reading is not None
    if reading.receptor != key.receptor:
        return told("other_receptor", receptor=reading.receptor, key_receptor=key.receptor)
    if reading.sensor_id != key.sensor_id:
        return told("other_sensor")
    if reading.kind != key.kind and shutter_s is None:
        return told("needs_shutter", do=Do("give_shutter"))
    turned = _turned(state, key.aim, view)
    if turned is None:
        return told("other_aim", aim=reading.aim, key_aim=key.aim)
    stops, u_stops, camera = turned
    return AsKey((exposure_lxs(1.0, reading.kind, shutter_s) or 1.0) * 2.0**stops, u_stops, camera)


def scale_u_stops(reading: Reading, view: JudgedSet) -> float:
    """Standard uncertainty in stops of the scale that a reading was made with."""
    calibration = view.calibrations.get(reading.calibration_id)
    return (calibration.u_scale_rel if calibration is not None else 0.1) * STOPS_PER_RELATIVE


class _Entry(NamedTuple):
    state: LightState
    exposure: float
    """lx·s (or lx when no shutter is set and all is steady)."""
    u_stops: float
    camera: float | None


def _entries(view: JudgedSet) -> tuple[list[_Entry], dict[str, Told]]:
    """Return the lights that can be compared with the key, and why the others cannot."""
    refused: dict[str, Told] = {}
    entries: list[_Entry] = []
    for state in view.lights:
        value, reading = state.value, state.reading
        if value is None or reading is None or state.judged is None:
            continue
        if not value > 0:
            refused[state.light.id] = told("nothing_to_compare")
            continue
        key = (view.key and view.key.reading) or reading
        beside = as_key(state, key, view)
        if isinstance(beside, Told):
            refused[state.light.id] = beside
            continue
        # The scale of one calibration cancels in the ratio.
        scales = [scale_u_stops(one, view) for one in (reading, key) if reading.calibration_id != key.calibration_id]
        u_stops = hypot(state.judged.u_stops, beside.u_stops, *scales)
        own_point = state.light.role in OWN_POINT_ROLES
        entries.append(_Entry(state, value * beside.factor, u_stops, None if own_point else beside.camera))
    return entries, refused


def _turned(state: LightState, aim: str, view: JudgedSet) -> tuple[float, float, float | None] | None:
    """Return (stops, their u, part a camera-facing receptor sees) that bring a reading to the key's aim.

    Like is compared with like: a reading aimed at the camera is carried to the light by the receptor's response and the
    light's direction, and the other way round.  None when that needs a direction that is not given.
    """
    assert state.reading is not None
    carried = carried_to_camera(state.reading._replace(aim="light"), state.placement, view.settings)
    if state.reading.aim == aim:
        factor = None if carried is None else 2.0**carried.stops
        return 0.0, 0.0, 1.0 if aim == "camera" else factor
    if carried is None:
        return None
    if aim == "camera":
        return carried.stops, carried.u_stops, 1.0
    return -carried.stops, carried.u_stops, 2.0**carried.stops


def ratio_table(view: JudgedSet) -> RatioTable:
    """Build the table.  Rows keep the order of the lights; lights without a current reading say what to do."""
    entries, refused = _entries(view)
    key = next((e for e in entries if e.state.light.role == "key"), None)
    shares, notes = _shares(view, entries, refused)
    rows = {state.light.id: _row(state, view, refused.get(state.light.id, NOTHING)) for state in view.lights}
    for e in entries:
        light_id = e.state.light.id
        rows[light_id] = rows[light_id]._replace(share=shares.get(light_id))
        if key is not None:
            over = e.exposure / key.exposure
            u95 = 0.0 if e is key else 2 * hypot(e.u_stops, key.u_stops)
            rows[light_id] = rows[light_id]._replace(light_over_key=over, from_key_stops=log2(over), from_key_u95_stops=u95)
    if key is None:
        role = Do("give_role", light=view.lights[0].light.name if view.lights else None)
        notes.append(told("key_not_metered", light=view.key.light.name) if view.key else told("no_key", do=role))
    if any(c.method == "assumed" for c in view.calibrations.values()):
        notes.append(told("assumed_calibration", do=Do("calibrate")))
    table = RatioTable(tuple(rows.values()), view.key.light.name if view.key else None)
    if key is not None:
        table = table._replace(aperture_key=working_aperture(view, key.exposure, key))
        if lacking := _fills_lacking(view, entries):
            notes.append(told("no_lighting_ratio", lights=lacking))
        else:
            table = _with_lighting_ratio(table, view, entries, key)
    return table._replace(notes=tuple(notes))


def _shares(view: JudgedSet, entries: list[_Entry], refused: dict[str, Told]) -> tuple[dict[str, float], list[Told]]:
    """Each light's part of the light on the face, by its id; nothing, and why, where a part of that light is not known."""
    on_face = [e for e in entries if e.state.light.role not in OWN_POINT_ROLES]
    if not on_face:
        return {}, []
    states = [s for s in view.lights if s.light.role not in OWN_POINT_ROLES]
    notes = []
    if missing := tuple(s.light.name for s in states if s.value is None):
        notes.append(told("no_shares_readings", lights=missing))
    if without := tuple(e.state.light.name for e in on_face if e.camera is None):
        notes.append(told("no_shares_direction", lights=without, do=Do("give_direction", light=without[0])))
    if notes or any(s.light.id in refused and (s.value or 0.0) > 0.0 for s in states):
        return {}, notes
    seen = {e.state.light.id: e.exposure * (e.camera or 0.0) for e in on_face}
    total = sum(seen.values())
    return {light_id: value / total if total > 0 else 0.0 for light_id, value in seen.items()}, []


def _fills_lacking(view: JudgedSet, entries: list[_Entry]) -> tuple[str, ...]:
    """Fills that are not in the table's figures while others are: the sum of these is not the fill."""
    fills = [s for s in view.lights if s.light.role == "fill"]
    compared = {e.state.light.id for e in entries}
    lacking = tuple(s.light.name for s in fills if s.light.id not in compared and (s.value is None or s.value > 0))
    return lacking if len(lacking) < len(fills) else ()


def _with_lighting_ratio(table: RatioTable, view: JudgedSet, entries: list[_Entry], key: _Entry) -> RatioTable:
    """Return the table with key : fill and (key + fill) : fill of the lights with these roles, as it is where no fill gives light.

    Propagated to the first order (GUM, JCGM 100:2008, 5.1): fills add, each with its own share of their sum; of (key + fill) : fill
    only the part k / (k + f) moves with key : fill.
    """
    fills = [e for e in entries if e.state.light.role == "fill"]
    if not fills:
        return table
    k, fill = key.exposure, sum(e.exposure for e in fills)
    u95 = 2 * hypot(key.u_stops, *(e.u_stops * e.exposure / fill for e in fills))
    judged = [e.state.judged for e in (key, *fills)]
    return table._replace(
        key_to_fill=k / fill,
        key_and_fill_to_fill=(k + fill) / fill,
        aperture_key_and_fill=working_aperture(view, k + fill, key),
        key_to_fill_u95_stops=u95,
        key_and_fill_to_fill_u95_stops=u95 * k / (k + fill),
        lighting_ratio_doubtful=any(one is not None and one.verdict == RETAKE for one in judged),
    )


def working_aperture(view: JudgedSet, exposure: float, entry: _Entry) -> Aperture | None:
    """Aperture for an exposure at the face, with the camera's offset and the filter applied here and nowhere else."""
    reading = entry.state.reading
    if reading is None or (reading.kind != "flash" and view.setup.shutter_s is None):
        return None
    calibration = view.calibrations.get(reading.calibration_id)
    if calibration is None or calibration.relative:
        return None
    shift = view.setup.camera_offset_stops - view.setup.filter_stops
    exact = f_number(exposure * 2.0**shift, view.setup.iso, calibration.constant)
    nearest = nearest_f_number(exact, "third")
    u = hypot(entry.u_stops, calibration.u_scale_rel * STOPS_PER_RELATIVE)
    return Aperture(exact, nearest.text, nearest.left_over_stops, 2 * u)


def _row(state: LightState, view: JudgedSet, refused: Told) -> RatioRow:
    """Row of a light by itself, without what it is against the key and its share."""
    light, reading, judged = state.light, state.reading, state.judged
    if reading is None or judged is None:
        return _empty_row(state, view)
    as_read = value_of(reading) or 0.0
    return RatioRow(
        light.name,
        light.role,
        light.point,
        # What was read before a turn is not what the light gives now: only the expected value is shown.
        None if state.expected else reading_f(as_read, reading, view),
        reading_f(state.value or 0.0, reading, view),
        None if state.expected else judged.correction_stops,
        verdict=judged.verdict,
        said=all_of(judged.said, refused),
        u95_stops=2 * judged.u_stops,
        inverse_square_stops=None if state.expected else judged.correction.inverse_square_stops,
        held_off_m=reading.held_off_m,
        t01_s=reading.t01_s,
        expected=state.expected,
    )


def _empty_row(state: LightState, view: JudgedSet) -> RatioRow:
    """Row of a light without a current reading: no number at all, and what to do."""
    row = RatioRow(state.light.name, state.light.role, state.light.point, said=state.to_do)
    if state.stale is None:
        return row
    was = reading_f(value_of(state.stale) or 0.0, state.stale, view)
    said = told("stale_read", why=state.stale_why, f=was) if was else told("stale", why=state.stale_why)
    return row._replace(verdict=RETAKE, said=said, stale=True)
