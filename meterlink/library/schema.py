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
_TEXT = "TEXT NOT NULL DEFAULT ''"


def _flag(name: str) -> str:
    return f"{name} {_FLAG.format(name)}"


VERSION_1 = (
    """CREATE TABLE migration (
        number INTEGER PRIMARY KEY, name TEXT NOT NULL, applied_at_s REAL NOT NULL)""",
    """CREATE TABLE sensor (
        no INTEGER PRIMARY KEY, sensor_id TEXT NOT NULL UNIQUE CHECK (sensor_id <> ''))""",
    f"""CREATE TABLE setup (
        no INTEGER PRIMARY KEY, id {_ID}, created_at_s REAL NOT NULL)""",
    # Versions are only ever added: the one with the latest id is what the set-up is now.
    f"""CREATE TABLE setup_version (
        no INTEGER PRIMARY KEY, id {_ID},
        setup_no INTEGER NOT NULL REFERENCES setup (no),
        name TEXT NOT NULL CHECK (name <> ''),
        name_key TEXT NOT NULL,                       -- case-folded name
        iso REAL NOT NULL CHECK (iso > 0),
        shutter_s REAL CHECK (shutter_s > 0),
        camera_offset_stops REAL NOT NULL DEFAULT 0,
        filter_stops REAL NOT NULL DEFAULT 0 CHECK (filter_stops >= 0),
        notes {_TEXT},
        tags {_TEXT},                                 -- one a line
        subject {_TEXT},
        {_flag("archived")},
        details {_TEXT})                              -- JSON object, '' when empty""",
    "CREATE INDEX setup_version_latest ON setup_version (setup_no, id)",
    "CREATE INDEX setup_version_name ON setup_version (name_key)",
    f"""CREATE TABLE light (
        no INTEGER PRIMARY KEY, id {_ID}, setup_no INTEGER NOT NULL REFERENCES setup (no))""",
    "CREATE INDEX light_of_setup ON light (setup_no)",
    f"""CREATE TABLE light_version (
        no INTEGER PRIMARY KEY, id {_ID},
        light_no INTEGER NOT NULL REFERENCES light (no),
        name TEXT NOT NULL CHECK (name <> ''),
        name_key TEXT NOT NULL,
        role INTEGER NOT NULL CHECK (role BETWEEN 0 AND 5),      -- records.ROLES
        point TEXT NOT NULL CHECK (point <> ''),
        order_index INTEGER NOT NULL DEFAULT 0,
        fixture {_TEXT},
        modifier {_TEXT},
        source_light_no INTEGER REFERENCES light (no),           -- passive reflector: the light that feeds it
        {_flag("shared_generator")},
        power_step_stops REAL CHECK (power_step_stops > 0),
        power_min_stops REAL CHECK (power_min_stops <= 0),
        full_power_j REAL CHECK (full_power_j > 0),
        details {_TEXT},
        {_flag("removed")})""",
    "CREATE INDEX light_version_latest ON light_version (light_no, id)",
    f"""CREATE TABLE placement (
        no INTEGER PRIMARY KEY, id {_ID},
        light_no INTEGER NOT NULL REFERENCES light (no),
        created_at_s REAL NOT NULL,
        shape INTEGER NOT NULL CHECK (shape BETWEEN 0 AND 2),    -- records.SHAPES
        width_m REAL CHECK (width_m > 0),
        height_m REAL CHECK (height_m > 0),
        distance_m REAL CHECK (distance_m > 0),
        u_distance_m REAL CHECK (u_distance_m >= 0),
        azimuth_deg REAL,
        elevation_deg REAL,
        feather_deg REAL NOT NULL DEFAULT 0,
        power_text {_TEXT},
        power_stops REAL,
        emission_n REAL NOT NULL DEFAULT 1 CHECK (emission_n >= 0),
        recess_m REAL NOT NULL DEFAULT 0 CHECK (recess_m >= 0),
        grid_deg REAL CHECK (grid_deg > 0),
        gel {_TEXT},
        diffusers {_TEXT},
        stand_height_m REAL,
        aimed_at {_TEXT},
        details {_TEXT})""",
    "CREATE INDEX placement_latest ON placement (light_no, id)",
    f"""CREATE TABLE calibration (
        no INTEGER PRIMARY KEY, id {_ID},
        sensor_no INTEGER NOT NULL REFERENCES sensor (no),
        created_at_s REAL NOT NULL,
        constant_lx REAL NOT NULL CHECK (constant_lx > 0),
        receptor INTEGER NOT NULL CHECK (receptor BETWEEN 0 AND 1),  -- records.RECEPTORS
        u_scale_rel REAL NOT NULL CHECK (u_scale_rel >= 0),
        {_flag("relative")},
        method {_TEXT},
        temperature_c REAL,
        reference {_TEXT},
        colour_matrix {_TEXT},                        -- JSON list, '' when empty
        angle_response {_TEXT},                       -- JSON list of pairs, '' when empty
        details {_TEXT})""",
    "CREATE INDEX calibration_of_sensor ON calibration (sensor_no, id)",
    """CREATE TABLE calibration_range (
        calibration_no INTEGER NOT NULL REFERENCES calibration (no),
        range_index INTEGER NOT NULL CHECK (range_index BETWEEN 0 AND 255),
        full_scale_lx REAL NOT NULL,
        dark_raw REAL NOT NULL,
        u_rel REAL NOT NULL CHECK (u_rel >= 0),
        PRIMARY KEY (calibration_no, range_index)) WITHOUT ROWID""",
    # Keyed by set, then by id: ids sort by time, so the readings of a set lie together in the order they were taken.
    """CREATE TABLE reading (
        setup_no INTEGER NOT NULL REFERENCES setup (no),
        id BLOB NOT NULL CHECK (typeof(id) = 'blob' AND length(id) = 16),
        light_no INTEGER REFERENCES light (no),       -- NULL: the whole set
        placement_no INTEGER REFERENCES placement (no),
        calibration_no INTEGER NOT NULL REFERENCES calibration (no),
        sensor_no INTEGER NOT NULL REFERENCES sensor (no),
        taken_at_s REAL NOT NULL,                     -- since 1970, UTC
        kind INTEGER NOT NULL CHECK (kind BETWEEN 0 AND 1),          -- rows.KINDS
        purpose INTEGER NOT NULL CHECK (purpose BETWEEN 0 AND 4),    -- rows.PURPOSES
        exposure_lxs REAL CHECK (exposure_lxs >= 0),
        illuminance_lx REAL CHECK (illuminance_lx >= 0),
        point TEXT,                                   -- NULL: the face
        receptor INTEGER NOT NULL CHECK (receptor BETWEEN 0 AND 1),  -- records.RECEPTORS
        aim INTEGER NOT NULL CHECK (aim BETWEEN 0 AND 1),            -- records.AIMS
        held_off_m REAL CHECK (held_off_m >= 0),      -- NULL: not declared
        held_off_toward TEXT,                         -- NULL: toward the light
        u_held_off_m REAL CHECK (u_held_off_m >= 0),
        u_rel REAL NOT NULL CHECK (u_rel >= 0),
        pop_count INTEGER NOT NULL CHECK (pop_count BETWEEN 0 AND 1000),
        lit BLOB CHECK (length(lit) % 16 = 0),        -- ids of the lights that fired, for "together"
        peak_lx REAL,
        t05_s REAL CHECK (t05_s >= 0),
        t01_s REAL CHECK (t01_s >= 0),
        ambient_lx REAL,
        clipped INTEGER NOT NULL CHECK (clipped IN (0, 1)),
        too_dim INTEGER NOT NULL CHECK (too_dim IN (0, 1)),
        cct_k REAL CHECK (cct_k > 0),
        duv REAL,
        x REAL,
        y REAL,
        range_index INTEGER NOT NULL CHECK (range_index BETWEEN 0 AND 255),
        supersedes_id BLOB CHECK (length(supersedes_id) = 16),
        note TEXT,
        PRIMARY KEY (setup_no, id)) WITHOUT ROWID""",
    # Only where a reading's pops say more than the reading itself: one pop equal to it is counted, not stored twice.
    """CREATE TABLE pop (
        setup_no INTEGER NOT NULL,
        reading_id BLOB NOT NULL,
        pop_index INTEGER NOT NULL CHECK (pop_index BETWEEN 0 AND 999),
        exposure_lxs REAL NOT NULL CHECK (exposure_lxs >= 0),
        u_rel REAL NOT NULL CHECK (u_rel >= 0),
        peak_lx REAL,
        t05_s REAL,
        t01_s REAL,
        ambient_lx REAL,
        clipped INTEGER NOT NULL CHECK (clipped IN (0, 1)),
        range_index INTEGER NOT NULL CHECK (range_index BETWEEN 0 AND 255),
        PRIMARY KEY (setup_no, reading_id, pop_index),
        FOREIGN KEY (setup_no, reading_id) REFERENCES reading (setup_no, id)) WITHOUT ROWID""",
    f"""CREATE TABLE waveform (
        no INTEGER PRIMARY KEY,
        setup_no INTEGER NOT NULL,
        reading_id BLOB NOT NULL,
        pop_index INTEGER NOT NULL CHECK (pop_index BETWEEN 0 AND 999),
        at_s REAL NOT NULL,                           -- the host's monotonic clock
        pop INTEGER NOT NULL,                         -- the sensor's own count
        bits INTEGER NOT NULL CHECK (bits IN (8, 16)),
        scale_bits INTEGER NOT NULL CHECK (scale_bits BETWEEN 1 AND 32),
        segments TEXT NOT NULL,                       -- JSON list of [start, sample_count, sample_interval_s]
        pretrigger INTEGER NOT NULL CHECK (pretrigger >= 0),
        range_index INTEGER NOT NULL CHECK (range_index BETWEEN 0 AND 255),
        {_flag("clipped")},
        {_flag("truncated")},
        held_off_m REAL CHECK (held_off_m >= 0),
        byte_count INTEGER NOT NULL CHECK (byte_count >= 0),  -- before compression
        samples BLOB NOT NULL,                        -- zlib
        UNIQUE (setup_no, reading_id, pop_index),
        FOREIGN KEY (setup_no, reading_id) REFERENCES reading (setup_no, id))""",
    # A reading is never changed: what is taken back gets a mark.
    f"""CREATE TABLE mark (
        no INTEGER PRIMARY KEY, id {_ID},
        setup_no INTEGER NOT NULL REFERENCES setup (no),
        reading_id BLOB NOT NULL,
        kind INTEGER NOT NULL CHECK (kind = 0),       -- 0 void
        at_s REAL NOT NULL,
        reason {_TEXT},
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
        kind TEXT NOT NULL CHECK (kind <> ''),
        key TEXT NOT NULL,
        at_s REAL NOT NULL,
        payload TEXT NOT NULL)                        -- JSON object""",
    "CREATE INDEX note_of_key ON note (kind, key, id)",
)
