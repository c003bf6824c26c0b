"""The tables of a library, as explicit SQL.  Only read when a file is created or migrated.

Every table has a small integer ``no`` (or a key made of such numbers) for use inside one file, and a random 128-bit
``id`` that means the same record in every file.  Foreign keys use ``no``, which keeps a reading small; merging and
sync use ``id``.  ``no`` of the ordinary tables grows in the order of arrival, so "what is new since" is a number.

Texts with a code table (``kind``, ``purpose``, ...) are kept as the index into the tuple named in the comment.
REAL columns that are NULL are not known.  STRICT tables are left out on purpose: they need SQLite 3.37, and the SQLite
that is built into phone packages is older.
"""

from __future__ import annotations

_ID = "BLOB NOT NULL UNIQUE CHECK (typeof(id) = 'blob' AND length(id) = 16)"
_FLAG = "INTEGER NOT NULL DEFAULT 0 CHECK ({0} IN (0, 1))"


def _text(name: str) -> str:
    return f"{name} TEXT NOT NULL DEFAULT '' CHECK (typeof({name}) = 'text')"


def _real(name: str, low: float = -1e15, high: float = 1e15) -> str:
    """A REAL within limits or NULL; the upper one also keeps text and blobs out, which sort above every number."""
    return f"{name} REAL CHECK ({name} BETWEEN {low:g} AND {high:g})"


def _more(name: str, default: float | None = None) -> str:
    """A REAL that is 0 or more, never NULL."""
    given = "" if default is None else f" DEFAULT {default:g}"
    return f"{name} REAL NOT NULL{given} CHECK ({name} BETWEEN 0 AND 1e15)"


_POSITIVE = 1e-300


def _flag(name: str) -> str:
    return f"{name} {_FLAG.format(name)}"


VERSION_1 = (
    """CREATE TABLE migration (
        number INTEGER PRIMARY KEY, name TEXT NOT NULL, applied_at_s REAL NOT NULL)""",
    """CREATE TABLE sensor (
        no INTEGER PRIMARY KEY,
        sensor_id TEXT NOT NULL UNIQUE CHECK (typeof(sensor_id) = 'text' AND sensor_id <> ''))""",
    f"""CREATE TABLE setup (
        no INTEGER PRIMARY KEY, id {_ID}, created_at_s REAL NOT NULL CHECK (created_at_s BETWEEN -1e15 AND 1e15))""",
    # Versions are only ever added: the one with the latest id is what the set-up is now.
    f"""CREATE TABLE setup_version (
        no INTEGER PRIMARY KEY, id {_ID},
        setup_no INTEGER NOT NULL REFERENCES setup (no),
        name TEXT NOT NULL CHECK (typeof(name) = 'text' AND name <> ''),
        name_key TEXT NOT NULL CHECK (typeof(name_key) = 'text'),                       -- case-folded name
        iso REAL NOT NULL CHECK (iso BETWEEN 1e-300 AND 1e15),
        {_real("shutter_s", _POSITIVE)},
        camera_offset_stops REAL NOT NULL DEFAULT 0 CHECK (camera_offset_stops BETWEEN -1e15 AND 1e15),
        {_more("filter_stops", 0.0)},
        {_text("notes")},
        {_text("tags")},                                 -- one a line
        {_text("subject")},
        {_flag("archived")},
        {_text("details")})                              -- JSON object, '' when empty""",
    "CREATE INDEX setup_version_latest ON setup_version (setup_no, id)",
    "CREATE INDEX setup_version_name ON setup_version (name_key)",
    f"""CREATE TABLE light (
        no INTEGER PRIMARY KEY, id {_ID}, setup_no INTEGER NOT NULL REFERENCES setup (no))""",
    "CREATE INDEX light_of_setup ON light (setup_no)",
    f"""CREATE TABLE light_version (
        no INTEGER PRIMARY KEY, id {_ID},
        light_no INTEGER NOT NULL REFERENCES light (no),
        name TEXT NOT NULL CHECK (typeof(name) = 'text' AND name <> ''),
        name_key TEXT NOT NULL CHECK (typeof(name_key) = 'text'),
        role INTEGER NOT NULL CHECK (role BETWEEN 0 AND 5),      -- records.ROLES
        point TEXT NOT NULL CHECK (typeof(point) = 'text' AND point <> ''),
        order_index INTEGER NOT NULL DEFAULT 0 CHECK (order_index BETWEEN -1e9 AND 1e9),
        {_text("fixture")},
        {_text("modifier")},
        source_light_no INTEGER REFERENCES light (no),           -- passive reflector: the light that feeds it
        {_flag("shared_generator")},
        {_real("power_step_stops", _POSITIVE)},
        {_real("power_min_stops", -1e15, 0)},
        {_real("full_power_j", _POSITIVE)},
        {_text("details")},
        {_flag("removed")})""",
    "CREATE INDEX light_version_latest ON light_version (light_no, id)",
    f"""CREATE TABLE placement (
        no INTEGER PRIMARY KEY, id {_ID},
        light_no INTEGER NOT NULL REFERENCES light (no),
        created_at_s REAL NOT NULL CHECK (created_at_s BETWEEN -1e15 AND 1e15),
        shape INTEGER NOT NULL CHECK (shape BETWEEN 0 AND 2),    -- records.SHAPES
        {_real("width_m", _POSITIVE)},
        {_real("height_m", _POSITIVE)},
        {_real("distance_m", _POSITIVE)},
        {_real("u_distance_m", 0)},
        {_real("azimuth_deg")},
        {_real("elevation_deg")},
        feather_deg REAL NOT NULL DEFAULT 0 CHECK (feather_deg BETWEEN -1e15 AND 1e15),
        {_text("power_text")},
        {_real("power_stops")},
        {_more("emission_n", 1.0)},
        {_more("recess_m", 0.0)},
        {_real("grid_deg", _POSITIVE)},
        {_text("gel")},
        {_text("diffusers")},
        {_real("stand_height_m")},
        {_text("aimed_at")},
        {_text("details")})""",
    "CREATE INDEX placement_latest ON placement (light_no, id)",
    f"""CREATE TABLE calibration (
        no INTEGER PRIMARY KEY, id {_ID},
        sensor_no INTEGER NOT NULL REFERENCES sensor (no),
        created_at_s REAL NOT NULL CHECK (created_at_s BETWEEN -1e15 AND 1e15),
        constant_lx REAL NOT NULL CHECK (constant_lx BETWEEN 1e-300 AND 1e15),
        receptor INTEGER NOT NULL CHECK (receptor BETWEEN 0 AND 1),  -- records.RECEPTORS
        {_more("u_scale_rel")},
        {_flag("relative")},
        {_text("method")},
        {_real("temperature_c")},
        {_text("reference")},
        {_text("colour_matrix")},                        -- JSON list, '' when empty
        {_text("angle_response")},                       -- JSON list of pairs, '' when empty
        {_text("details")})""",
    "CREATE INDEX calibration_of_sensor ON calibration (sensor_no, id)",
    f"""CREATE TABLE calibration_range (
        calibration_no INTEGER NOT NULL REFERENCES calibration (no),
        range_index INTEGER NOT NULL CHECK (range_index BETWEEN 0 AND 255),
        full_scale_lx REAL NOT NULL CHECK (full_scale_lx BETWEEN -1e15 AND 1e15),
        dark_raw REAL NOT NULL CHECK (dark_raw BETWEEN -1e15 AND 1e15),
        {_more("u_rel")},
        PRIMARY KEY (calibration_no, range_index)) WITHOUT ROWID""",
    # Keyed by set, then by id: ids sort by time, so the readings of a set lie together in the order they were taken.
    f"""CREATE TABLE reading (
        setup_no INTEGER NOT NULL REFERENCES setup (no),
        id BLOB NOT NULL CHECK (typeof(id) = 'blob' AND length(id) = 16),
        light_no INTEGER REFERENCES light (no),       -- NULL: the whole set
        placement_no INTEGER REFERENCES placement (no),
        calibration_no INTEGER NOT NULL REFERENCES calibration (no),
        sensor_no INTEGER NOT NULL REFERENCES sensor (no),
        taken_at_s REAL NOT NULL CHECK (taken_at_s BETWEEN -1e15 AND 1e15),                     -- since 1970, UTC
        kind INTEGER NOT NULL CHECK (kind BETWEEN 0 AND 1),          -- fields.KINDS
        purpose INTEGER NOT NULL CHECK (purpose BETWEEN 0 AND 4),    -- fields.PURPOSES
        {_real("exposure_lxs", 0)},
        {_real("illuminance_lx", 0)},
        point TEXT CHECK (typeof(point) <> 'blob'),   -- NULL: the face
        receptor INTEGER NOT NULL CHECK (receptor BETWEEN 0 AND 1),  -- records.RECEPTORS
        aim INTEGER NOT NULL CHECK (aim BETWEEN 0 AND 1),            -- records.AIMS
        {_real("held_off_m", 0)},      -- NULL: not declared
        held_off_toward TEXT                          -- NULL: toward the light
            CHECK (typeof(held_off_toward) <> 'blob'),
        {_real("u_held_off_m", 0)},
        {_more("u_rel")},
        pop_count INTEGER NOT NULL CHECK (pop_count BETWEEN 0 AND 1000),
        lit BLOB                                      -- ids of the lights that fired, for "together"
            CHECK (typeof(lit) <> 'text' AND length(lit) % 16 = 0),
        {_real("peak_lx")},
        {_real("t05_s", 0)},
        {_real("t01_s", 0)},
        {_real("ambient_lx")},
        clipped INTEGER NOT NULL CHECK (clipped IN (0, 1)),
        too_dim INTEGER NOT NULL CHECK (too_dim IN (0, 1)),
        {_real("cct_k", _POSITIVE)},
        {_real("duv")},
        {_real("x")},
        {_real("y")},
        range_index INTEGER NOT NULL CHECK (range_index BETWEEN 0 AND 255),
        supersedes_id BLOB
            CHECK (typeof(supersedes_id) <> 'text' AND length(supersedes_id) = 16),
        note TEXT CHECK (typeof(note) <> 'blob'),
        PRIMARY KEY (setup_no, id)) WITHOUT ROWID""",
    # Only where a reading's pops say more than the reading itself: one pop equal to it is counted, not stored twice.
    f"""CREATE TABLE pop (
        setup_no INTEGER NOT NULL,
        reading_id BLOB NOT NULL,
        pop_index INTEGER NOT NULL CHECK (pop_index BETWEEN 0 AND 999),
        {_more("exposure_lxs")},
        {_more("u_rel")},
        {_real("peak_lx")},
        {_real("t05_s")},
        {_real("t01_s")},
        {_real("ambient_lx")},
        clipped INTEGER NOT NULL CHECK (clipped IN (0, 1)),
        range_index INTEGER NOT NULL CHECK (range_index BETWEEN 0 AND 255),
        PRIMARY KEY (setup_no, reading_id, pop_index),
        FOREIGN KEY (setup_no, reading_id) REFERENCES reading (setup_no, id)) WITHOUT ROWID""",
    f"""CREATE TABLE waveform (
        no INTEGER PRIMARY KEY,
        setup_no INTEGER NOT NULL,
        reading_id BLOB NOT NULL,
        pop_index INTEGER NOT NULL CHECK (pop_index BETWEEN 0 AND 999),
        at_s REAL NOT NULL CHECK (at_s BETWEEN -1e15 AND 1e15),                           -- the host's monotonic clock
        pop INTEGER NOT NULL CHECK (pop BETWEEN 0 AND 1e12),                         -- the sensor's own count
        bits INTEGER NOT NULL CHECK (bits IN (8, 16)),
        scale_bits INTEGER NOT NULL CHECK (scale_bits BETWEEN 1 AND 32),
        segments TEXT NOT NULL                        -- JSON list of [start, sample_count, sample_interval_s]
            CHECK (typeof(segments) = 'text'),
        pretrigger INTEGER NOT NULL CHECK (pretrigger BETWEEN 0 AND 1e9),
        range_index INTEGER NOT NULL CHECK (range_index BETWEEN 0 AND 255),
        {_flag("clipped")},
        {_flag("truncated")},
        {_real("held_off_m", 0)},
        byte_count INTEGER NOT NULL CHECK (byte_count BETWEEN 0 AND 16777216),  -- before compression
        samples BLOB NOT NULL CHECK (typeof(samples) = 'blob'),                        -- zlib
        UNIQUE (setup_no, reading_id, pop_index),
        FOREIGN KEY (setup_no, reading_id) REFERENCES reading (setup_no, id))""",
    # A reading is never changed: what is taken back gets a mark.
    f"""CREATE TABLE mark (
        no INTEGER PRIMARY KEY, id {_ID},
        setup_no INTEGER NOT NULL REFERENCES setup (no),
        reading_id BLOB NOT NULL,
        kind INTEGER NOT NULL CHECK (kind = 0),       -- 0 void
        at_s REAL NOT NULL CHECK (at_s BETWEEN -1e15 AND 1e15),
        {_text("reason")},
        FOREIGN KEY (setup_no, reading_id) REFERENCES reading (setup_no, id))""",
    "CREATE INDEX mark_of_reading ON mark (setup_no, reading_id)",
    # This file's own choices and memory: not merged, not synced.
    "CREATE TABLE setting (name TEXT PRIMARY KEY, value NOT NULL) WITHOUT ROWID",
    "CREATE TABLE memory (key TEXT PRIMARY KEY, value NOT NULL) WITHOUT ROWID",
)

VERSION_2 = (
    # Learnt facts (falloff fits, fixtures' power curves, certificates ...): the latest of a kind and key is in force.
    f"""CREATE TABLE note (
        no INTEGER PRIMARY KEY, id {_ID},
        kind TEXT NOT NULL CHECK (typeof(kind) = 'text' AND kind <> ''),
        key TEXT NOT NULL CHECK (typeof(key) = 'text'),
        at_s REAL NOT NULL CHECK (at_s BETWEEN -1e15 AND 1e15),
        payload TEXT NOT NULL CHECK (typeof(payload) = 'text'))                        -- JSON object""",
    "CREATE INDEX note_of_key ON note (kind, key, id)",
)

VERSION_3 = (
    # What has been exchanged with shared libraries: this file's own memory, not merged.
    """CREATE TABLE sync_state (
        remote TEXT NOT NULL,                         -- id of the shared library
        part TEXT NOT NULL,                           -- a table, "fetched" or "own"
        setup_no INTEGER NOT NULL,                    -- set-up for readings, batch for "own", else 0
        number INTEGER NOT NULL,                      -- last no, count of readings, or batch
        mark BLOB NOT NULL,                           -- last reading's id, or the batch's stamp
        PRIMARY KEY (remote, part, setup_no)) WITHOUT ROWID""",
)
