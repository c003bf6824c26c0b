"""What the library keeps.  Every value is in SI units and stops; ``None`` means not known, never zero."""

from typing import Any, NamedTuple

from meterlink.records.kinds import Kind, Purpose

ROLES = ("key", "fill", "hair", "rim", "background", "other")
FACE = "face"
FALLOFF = "falloff"
"""Readings of a falloff walk are taken at points of their own, ``falloff 0.8``, so that they never pass for the face's."""
OWN_POINT_ROLES = ("hair", "rim", "background")
"""Metered at their own points: they have a ratio to the key and no share of the light on the face."""
TOWARD = ("light", "camera", "up", "down", "left", "right")
"""Directions a dome may be held off toward: left and right as the camera sees the set."""
RECEPTORS = ("dome", "flat")
AIMS = ("light", "camera")
SHAPES = ("point", "disk", "rectangle")


class Settings(NamedTuple):
    """Limits and assumptions of one library; every default is the design's."""

    assumed_reach_min_m: float = 0.0
    assumed_reach_max_m: float = 0.06
    """An undeclared held-off distance is taken as uniform between these, toward the light."""
    u_distance_rel: float = 0.036
    """Relative standard uncertainty of a light's distance when none is given: a tape in a hurry is 2 to 5 % off (our estimate)."""
    u_held_off_rel: float = 0.1
    u_held_off_min_m: float = 0.01
    """Standard uncertainty of a declared held-off distance: the larger of the two."""
    u_direction_deg: float = 5.0
    good_correction_stops: float = 0.1
    good_u95_stops: float = 0.2
    corrected_u95_stops: float = 1 / 3
    min_gap_s: float = 0.7
    """Two pops closer than this are one press (or a stray): the second is not given to the next light."""
    default_receptor: str = "dome"
    default_aim: str = "light"
    sync_speed_s: float = 1 / 200
    """Fastest shutter fully open (common practice, no published source); a camera's own value belongs here."""
    match_tolerance_stops: float = 0.1
    u_repeat_stops: float = 0.03
    """Pop-to-pop spread (k=1) assumed until a light's own repeats tell."""

    def u_held_off_m(self, held_off_m: float) -> float:
        """Standard uncertainty of a held-off distance that was said."""
        return max(self.u_held_off_min_m, self.u_held_off_rel * held_off_m)

    def u_distance_m(self, distance_m: float, given_m: float | None) -> float:
        """Standard uncertainty of a light's distance: as given, else as assumed."""
        return self.u_distance_rel * distance_m if given_m is None else given_m


class Setup(NamedTuple):
    """A set: what the camera is set to and what a rebuild needs to know."""

    id: str
    name: str
    created_at_s: float
    iso: float = 100.0
    """Exact value of the nominal speed index."""
    shutter_s: float | None = None
    camera_offset_stops: float = 0.0
    """Added to the working aperture only: positive closes down (the camera wants less light than the meter says)."""
    filter_stops: float = 0.0
    """Light lost in filters on the lens, 0 or positive; opens the working aperture only."""
    notes: str = ""
    tags: tuple[str, ...] = ()
    subject: str = ""
    archived: bool = False
    details: dict[str, Any] = {}  # noqa: RUF012
    """Optional facts of a rebuild (face height, backdrop, camera distance, points ...), keys as in the JSON schema."""


class Light(NamedTuple):
    """One fixture with its modifier, named by the photographer."""

    id: str
    setup_id: str
    name: str
    role: str
    point: str = FACE
    order: int = 0
    fixture: str = ""
    """The photographer's own name of the head; the same head in other sets carries the same name."""
    modifier: str = ""
    source_light_id: str | None = None
    """Passive reflector: the light that feeds it.  It is metered as with minus without."""
    shared_generator: bool = False
    """Heads on one generator redistribute its energy: a sum check would compare unlike things."""
    power_step_stops: float | None = None
    power_min_stops: float | None = None
    """Lowest power in stops below full (negative)."""
    full_power_j: float | None = None
    details: dict[str, Any] = {}  # noqa: RUF012
    removed: bool = False


class Placement(NamedTuple):
    """Where and how a light stands at one moment.  Never changed: moving or re-powering makes a new one."""

    id: str
    light_id: str
    created_at_s: float
    shape: str = "point"
    width_m: float | None = None
    """Diameter of a disk."""
    height_m: float | None = None
    distance_m: float | None = None
    """Emitting surface to the dome's reference plane at the light's point."""
    u_distance_m: float | None = None
    azimuth_deg: float | None = None
    elevation_deg: float | None = None
    feather_deg: float = 0.0
    """Angle between the source's axis and the line to its point; 0 aims at the point."""
    power_text: str = ""
    """As typed, in the fixture's own scale."""
    power_stops: float | None = None
    """Stops from full power (0 is full, -1 half); None when not given."""
    emission_n: float = 1.0
    """Luminous intensity falls as cos**n from the axis: 1 is a diffuser (Lambertian)."""
    recess_m: float = 0.0
    grid_deg: float | None = None
    gel: str = ""
    diffusers: str = ""
    stand_height_m: float | None = None
    aimed_at: str = ""
    details: dict[str, Any] = {}  # noqa: RUF012

    @property
    def surface(self) -> tuple[str, float | None, float | None]:
        """What emits: shape, width and height."""
        return self.shape, self.width_m, self.height_m

    @property
    def dress(self) -> tuple[float | None, str, str]:
        """What stands before it: grid, gel and diffusers."""
        return self.grid_deg, self.gel, self.diffusers

    @property
    def place(self) -> tuple[float | None, float | None, float | None, float]:
        """Where it stands: distance, azimuth, elevation and feather."""
        return self.distance_m, self.azimuth_deg, self.elevation_deg, self.feather_deg


class Pop(NamedTuple):
    """One flash inside a reading."""

    exposure_lxs: float
    u_rel: float = 0.0
    peak_lx: float | None = None
    t05_s: float | None = None
    t01_s: float | None = None
    ambient_lx: float | None = None
    clipped: bool = False
    """Its peak was beyond the range: the exposure is the middle of its bounds, and peak and durations are not known."""
    range_index: int = 0


class Reading(NamedTuple):
    """One accepted measurement.  Never changed; a retake supersedes, a void marks, a re-assignment is a new record."""

    id: str
    setup_id: str
    light_id: str | None
    """None for readings of the whole set (``together``, ``room``)."""
    placement_id: str | None
    calibration_id: str
    sensor_id: str
    taken_at_s: float
    """Seconds since 1970, UTC."""
    kind: str = Kind.FLASH
    purpose: str = Purpose.ALONE
    """``alone`` (this light only), ``without`` (source of a reflector, reflector away), ``with`` (reflector in place),
    ``together`` (``lit`` fired at once), ``room`` (no flash)."""
    exposure_lxs: float | None = None
    illuminance_lx: float | None = None
    point: str = FACE
    receptor: str = "dome"
    aim: str = "light"
    held_off_m: float | None = None
    """Dome to point; None is undeclared, never 0."""
    held_off_toward: str = "light"
    """One of ``TOWARD`` or ``x,y,z`` in metres (a free vector, then held_off_m is its length)."""
    u_held_off_m: float | None = None
    u_rel: float = 0.0
    """Relative standard uncertainty from noise and sampling."""
    pops: tuple[Pop, ...] = ()
    lit: tuple[str, ...] = ()
    """Ids of the lights that fired, for ``together``."""
    peak_lx: float | None = None
    t05_s: float | None = None
    t01_s: float | None = None
    ambient_lx: float | None = None
    clipped: bool = False
    too_dim: bool = False
    cct_k: float | None = None
    duv: float | None = None
    x: float | None = None
    y: float | None = None
    range_index: int = 0
    supersedes_id: str | None = None
    note: str = ""


class RangeScale(NamedTuple):
    """Scale of one sensitivity range: light = (raw - dark_raw) * full_scale_lx."""

    full_scale_lx: float
    dark_raw: float = 0.0
    u_rel: float = 0.0
    """Relative standard uncertainty of this range against the other(s); the shared scale is in the calibration."""


BORROWED_FROM = "borrowed_from"
"""Key of ``Calibration.details``: the calibration with another receptor whose ranges and darks an assumed one has taken over."""
OTHER_RECEPTOR_U_STOPS = 0.5
"""Standard uncertainty of a scale that was made with another receptor: one sensor with both was 0.98 stop off (seen, once;
no published source), which is taken for two standard deviations."""


class Calibration(NamedTuple):
    """What turns a sensor's raw values into light.  Never changed; a new one is a new record."""

    id: str
    sensor_id: str
    created_at_s: float
    constant: float
    """C of the exposure equation for this receptor, in lx (ISO 2720)."""
    receptor: str = "dome"
    ranges: tuple[RangeScale, ...] = ()
    u_scale_rel: float = 0.05
    """Relative standard uncertainty of the absolute scale, shared by every reading made with it."""
    relative: bool = False
    """Ratios are right, f-numbers are not: no reference was used."""
    method: str = "assumed"
    temperature_c: float | None = None
    reference: str = ""
    colour_matrix: tuple[float, ...] = ()
    angle_response: tuple[tuple[float, float], ...] = ()
    """Measured (angle in degrees, response relative to 0 degrees)."""
    details: dict[str, Any] = {}  # noqa: RUF012


def falloff_at_m(point: str) -> float | None:
    """Where a falloff walk had the light for a reading at this point, metres from the dome; None for any other point."""
    word, _, metres = point.partition(" ")
    return float(metres) if word == FALLOFF and metres.replace(".", "", 1).isdecimal() else None
