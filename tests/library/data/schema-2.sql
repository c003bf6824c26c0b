BEGIN TRANSACTION;
CREATE TABLE calibration (
        no INTEGER PRIMARY KEY, id BLOB NOT NULL UNIQUE CHECK (typeof(id) = 'blob' AND length(id) = 16),
        sensor_no INTEGER NOT NULL REFERENCES sensor (no),
        created_at_s REAL NOT NULL CHECK (created_at_s BETWEEN -1e15 AND 1e15),
        constant_lx REAL NOT NULL CHECK (constant_lx BETWEEN 1e-300 AND 1e15),
        receptor INTEGER NOT NULL CHECK (receptor BETWEEN 0 AND 1),  -- records.RECEPTORS
        u_scale_rel REAL NOT NULL CHECK (u_scale_rel BETWEEN 0 AND 1e15),
        relative INTEGER NOT NULL DEFAULT 0 CHECK (relative IN (0, 1)),
        method TEXT NOT NULL DEFAULT '' CHECK (typeof(method) = 'text'),
        temperature_c REAL CHECK (temperature_c BETWEEN -1e+15 AND 1e+15),
        reference TEXT NOT NULL DEFAULT '' CHECK (typeof(reference) = 'text'),
        colour_matrix TEXT NOT NULL DEFAULT '' CHECK (typeof(colour_matrix) = 'text'),                        -- JSON list, '' when empty
        angle_response TEXT NOT NULL DEFAULT '' CHECK (typeof(angle_response) = 'text'),                       -- JSON list of pairs, '' when empty
        details TEXT NOT NULL DEFAULT '' CHECK (typeof(details) = 'text'));
INSERT INTO "calibration" VALUES(1,X'01A211C29B1CAE943273887CBDE7D956',1,1700000000.0,330.0,0,0.05,0,'assumed',NULL,'','','','');
CREATE TABLE calibration_range (
        calibration_no INTEGER NOT NULL REFERENCES calibration (no),
        range_index INTEGER NOT NULL CHECK (range_index BETWEEN 0 AND 255),
        full_scale_lx REAL NOT NULL CHECK (full_scale_lx BETWEEN -1e15 AND 1e15),
        dark_raw REAL NOT NULL CHECK (dark_raw BETWEEN -1e15 AND 1e15),
        u_rel REAL NOT NULL CHECK (u_rel BETWEEN 0 AND 1e15),
        PRIMARY KEY (calibration_no, range_index)) WITHOUT ROWID;
INSERT INTO "calibration_range" VALUES(1,0,100000.0,0.0,0.0);
INSERT INTO "calibration_range" VALUES(1,1,1000.0,0.01,0.02);
CREATE TABLE light (
        no INTEGER PRIMARY KEY, id BLOB NOT NULL UNIQUE CHECK (typeof(id) = 'blob' AND length(id) = 16), setup_no INTEGER NOT NULL REFERENCES setup (no));
INSERT INTO "light" VALUES(1,X'01A211C29B046A5C09EFED9BFD3DE48D',1);
INSERT INTO "light" VALUES(2,X'01A211C29B0C9E7832BDB7997A03D802',1);
CREATE TABLE light_version (
        no INTEGER PRIMARY KEY, id BLOB NOT NULL UNIQUE CHECK (typeof(id) = 'blob' AND length(id) = 16),
        light_no INTEGER NOT NULL REFERENCES light (no),
        name TEXT NOT NULL CHECK (typeof(name) = 'text' AND name <> ''),
        name_key TEXT NOT NULL CHECK (typeof(name_key) = 'text'),
        role INTEGER NOT NULL CHECK (role BETWEEN 0 AND 5),      -- records.ROLES
        point TEXT NOT NULL CHECK (typeof(point) = 'text' AND point <> ''),
        order_index INTEGER NOT NULL DEFAULT 0 CHECK (order_index BETWEEN -1e9 AND 1e9),
        fixture TEXT NOT NULL DEFAULT '' CHECK (typeof(fixture) = 'text'),
        modifier TEXT NOT NULL DEFAULT '' CHECK (typeof(modifier) = 'text'),
        source_light_no INTEGER REFERENCES light (no),           -- passive reflector: the light that feeds it
        shared_generator INTEGER NOT NULL DEFAULT 0 CHECK (shared_generator IN (0, 1)),
        power_step_stops REAL CHECK (power_step_stops BETWEEN 1e-300 AND 1e+15),
        power_min_stops REAL CHECK (power_min_stops BETWEEN -1e+15 AND 0),
        full_power_j REAL CHECK (full_power_j BETWEEN 1e-300 AND 1e+15),
        details TEXT NOT NULL DEFAULT '' CHECK (typeof(details) = 'text'),
        removed INTEGER NOT NULL DEFAULT 0 CHECK (removed IN (0, 1)));
INSERT INTO "light_version" VALUES(1,X'01A211C29B05DCDBB0B2F3018618E5B7',1,'Key','key',0,'face',1,'','',NULL,0,NULL,NULL,NULL,'',0);
INSERT INTO "light_version" VALUES(2,X'01A211C29B0D6E1CB4773DE171DF18BE',2,'Fill','fill',1,'face',2,'','',NULL,0,NULL,NULL,NULL,'',0);
CREATE TABLE mark (
        no INTEGER PRIMARY KEY, id BLOB NOT NULL UNIQUE CHECK (typeof(id) = 'blob' AND length(id) = 16),
        setup_no INTEGER NOT NULL REFERENCES setup (no),
        reading_id BLOB NOT NULL,
        kind INTEGER NOT NULL CHECK (kind = 0),       -- 0 void
        at_s REAL NOT NULL CHECK (at_s BETWEEN -1e15 AND 1e15),
        reason TEXT NOT NULL DEFAULT '' CHECK (typeof(reason) = 'text'),
        FOREIGN KEY (setup_no, reading_id) REFERENCES reading (setup_no, id));
INSERT INTO "mark" VALUES(1,X'01A211C29B3859335182FC51D27FAD1F',1,X'01A211C29B34DE168416DFE62E795A76',0,1.79559429612046122549e+09,'stray pop');
CREATE TABLE memory (key TEXT PRIMARY KEY, value NOT NULL) WITHOUT ROWID;
INSERT INTO "memory" VALUES('current_setup','01a211c29af42fd97e4f9efd3d6bd5c7');
CREATE TABLE migration (
        number INTEGER PRIMARY KEY, name TEXT NOT NULL, applied_at_s REAL NOT NULL);
INSERT INTO "migration" VALUES(1,'set-ups, lights, placements, calibrations, readings',1.79559429590849423414e+09);
INSERT INTO "migration" VALUES(2,'notes: learnt facts',1.79559429592602562905e+09);
CREATE TABLE note (
        no INTEGER PRIMARY KEY, id BLOB NOT NULL UNIQUE CHECK (typeof(id) = 'blob' AND length(id) = 16),
        kind TEXT NOT NULL CHECK (typeof(kind) = 'text' AND kind <> ''),
        key TEXT NOT NULL CHECK (typeof(key) = 'text'),
        at_s REAL NOT NULL CHECK (at_s BETWEEN -1e15 AND 1e15),
        payload TEXT NOT NULL CHECK (typeof(payload) = 'text'));
CREATE TABLE placement (
        no INTEGER PRIMARY KEY, id BLOB NOT NULL UNIQUE CHECK (typeof(id) = 'blob' AND length(id) = 16),
        light_no INTEGER NOT NULL REFERENCES light (no),
        created_at_s REAL NOT NULL CHECK (created_at_s BETWEEN -1e15 AND 1e15),
        shape INTEGER NOT NULL CHECK (shape BETWEEN 0 AND 2),    -- records.SHAPES
        width_m REAL CHECK (width_m BETWEEN 1e-300 AND 1e+15),
        height_m REAL CHECK (height_m BETWEEN 1e-300 AND 1e+15),
        distance_m REAL CHECK (distance_m BETWEEN 1e-300 AND 1e+15),
        u_distance_m REAL CHECK (u_distance_m BETWEEN 0 AND 1e+15),
        azimuth_deg REAL CHECK (azimuth_deg BETWEEN -1e+15 AND 1e+15),
        elevation_deg REAL CHECK (elevation_deg BETWEEN -1e+15 AND 1e+15),
        feather_deg REAL NOT NULL DEFAULT 0 CHECK (feather_deg BETWEEN -1e15 AND 1e15),
        power_text TEXT NOT NULL DEFAULT '' CHECK (typeof(power_text) = 'text'),
        power_stops REAL CHECK (power_stops BETWEEN -1e+15 AND 1e+15),
        emission_n REAL NOT NULL DEFAULT 1 CHECK (emission_n BETWEEN 0 AND 1e15),
        recess_m REAL NOT NULL DEFAULT 0 CHECK (recess_m BETWEEN 0 AND 1e15),
        grid_deg REAL CHECK (grid_deg BETWEEN 1e-300 AND 1e+15),
        gel TEXT NOT NULL DEFAULT '' CHECK (typeof(gel) = 'text'),
        diffusers TEXT NOT NULL DEFAULT '' CHECK (typeof(diffusers) = 'text'),
        stand_height_m REAL CHECK (stand_height_m BETWEEN -1e+15 AND 1e+15),
        aimed_at TEXT NOT NULL DEFAULT '' CHECK (typeof(aimed_at) = 'text'),
        details TEXT NOT NULL DEFAULT '' CHECK (typeof(details) = 'text'));
INSERT INTO "placement" VALUES(1,X'01A211C29B0E00DC0E442C2AA9AC8413',1,1700000001.0,2,0.6,0.9,1.4,NULL,NULL,NULL,0.0,'',NULL,1.0,0.0,NULL,'','',NULL,'','');
INSERT INTO "placement" VALUES(2,X'01A211C29B1888952F18D63326EB27EC',2,1700000001.0,2,0.6,0.9,1.4,NULL,NULL,NULL,0.0,'',NULL,1.0,0.0,NULL,'','',NULL,'','');
CREATE TABLE pop (
        setup_no INTEGER NOT NULL,
        reading_id BLOB NOT NULL,
        pop_index INTEGER NOT NULL CHECK (pop_index BETWEEN 0 AND 999),
        exposure_lxs REAL NOT NULL CHECK (exposure_lxs BETWEEN 0 AND 1e15),
        u_rel REAL NOT NULL CHECK (u_rel BETWEEN 0 AND 1e15),
        peak_lx REAL CHECK (peak_lx BETWEEN -1e+15 AND 1e+15),
        t05_s REAL CHECK (t05_s BETWEEN -1e+15 AND 1e+15),
        t01_s REAL CHECK (t01_s BETWEEN -1e+15 AND 1e+15),
        ambient_lx REAL CHECK (ambient_lx BETWEEN -1e+15 AND 1e+15),
        clipped INTEGER NOT NULL CHECK (clipped IN (0, 1)),
        range_index INTEGER NOT NULL CHECK (range_index BETWEEN 0 AND 255),
        PRIMARY KEY (setup_no, reading_id, pop_index),
        FOREIGN KEY (setup_no, reading_id) REFERENCES reading (setup_no, id)) WITHOUT ROWID;
INSERT INTO "pop" VALUES(1,X'01A211C29B322B4E317DEC609709FF61',0,12.5,0.0123,31234.5,0.000412,0.00131,52.25,0,1);
INSERT INTO "pop" VALUES(1,X'01A211C29B322B4E317DEC609709FF61',1,6.1,0.0123,31234.5,0.000412,0.00131,52.25,0,1);
CREATE TABLE reading (
        setup_no INTEGER NOT NULL REFERENCES setup (no),
        id BLOB NOT NULL CHECK (typeof(id) = 'blob' AND length(id) = 16),
        light_no INTEGER REFERENCES light (no),       -- NULL: the whole set
        placement_no INTEGER REFERENCES placement (no),
        calibration_no INTEGER NOT NULL REFERENCES calibration (no),
        sensor_no INTEGER NOT NULL REFERENCES sensor (no),
        taken_at_s REAL NOT NULL CHECK (taken_at_s BETWEEN -1e15 AND 1e15),                     -- since 1970, UTC
        kind INTEGER NOT NULL CHECK (kind BETWEEN 0 AND 1),          -- rows.KINDS
        purpose INTEGER NOT NULL CHECK (purpose BETWEEN 0 AND 4),    -- rows.PURPOSES
        exposure_lxs REAL CHECK (exposure_lxs BETWEEN 0 AND 1e+15),
        illuminance_lx REAL CHECK (illuminance_lx BETWEEN 0 AND 1e+15),
        point TEXT CHECK (typeof(point) <> 'blob'),   -- NULL: the face
        receptor INTEGER NOT NULL CHECK (receptor BETWEEN 0 AND 1),  -- records.RECEPTORS
        aim INTEGER NOT NULL CHECK (aim BETWEEN 0 AND 1),            -- records.AIMS
        held_off_m REAL CHECK (held_off_m BETWEEN 0 AND 1e+15),      -- NULL: not declared
        held_off_toward TEXT                          -- NULL: toward the light
            CHECK (typeof(held_off_toward) <> 'blob'),
        u_held_off_m REAL CHECK (u_held_off_m BETWEEN 0 AND 1e+15),
        u_rel REAL NOT NULL CHECK (u_rel BETWEEN 0 AND 1e15),
        pop_count INTEGER NOT NULL CHECK (pop_count BETWEEN 0 AND 1000),
        lit BLOB                                      -- ids of the lights that fired, for "together"
            CHECK (typeof(lit) <> 'text' AND length(lit) % 16 = 0),
        peak_lx REAL CHECK (peak_lx BETWEEN -1e+15 AND 1e+15),
        t05_s REAL CHECK (t05_s BETWEEN 0 AND 1e+15),
        t01_s REAL CHECK (t01_s BETWEEN 0 AND 1e+15),
        ambient_lx REAL CHECK (ambient_lx BETWEEN -1e+15 AND 1e+15),
        clipped INTEGER NOT NULL CHECK (clipped IN (0, 1)),
        too_dim INTEGER NOT NULL CHECK (too_dim IN (0, 1)),
        cct_k REAL CHECK (cct_k BETWEEN 1e-300 AND 1e+15),
        duv REAL CHECK (duv BETWEEN -1e+15 AND 1e+15),
        x REAL CHECK (x BETWEEN -1e+15 AND 1e+15),
        y REAL CHECK (y BETWEEN -1e+15 AND 1e+15),
        range_index INTEGER NOT NULL CHECK (range_index BETWEEN 0 AND 255),
        supersedes_id BLOB
            CHECK (typeof(supersedes_id) <> 'text' AND length(supersedes_id) = 16),
        note TEXT CHECK (typeof(note) <> 'blob'),
        PRIMARY KEY (setup_no, id)) WITHOUT ROWID;
INSERT INTO "reading" VALUES(1,X'01A211C29B20726E799668ED7E3939C3',1,1,1,1,1.70000000212345600122e+09,0,0,12.5,NULL,NULL,0,0,NULL,NULL,NULL,0.0123,1,NULL,31234.5,0.000412,0.00131,52.25,0,0,NULL,NULL,NULL,NULL,1,NULL,NULL);
INSERT INTO "reading" VALUES(1,X'01A211C29B2C21AAA7216C61FD4A6119',1,1,1,1,1.70000000212345600122e+09,0,0,13.0,NULL,NULL,0,0,NULL,NULL,NULL,0.0123,1,NULL,31234.5,0.000412,0.00131,52.25,0,0,NULL,NULL,NULL,NULL,1,X'01A211C29B20726E799668ED7E3939C3',NULL);
INSERT INTO "reading" VALUES(1,X'01A211C29B322B4E317DEC609709FF61',2,2,1,1,1.70000000212345600122e+09,0,0,6.0,NULL,NULL,0,0,NULL,NULL,NULL,0.0123,2,NULL,31234.5,0.000412,0.00131,52.25,0,0,NULL,NULL,NULL,NULL,1,NULL,NULL);
INSERT INTO "reading" VALUES(1,X'01A211C29B34DE168416DFE62E795A76',1,1,1,1,1.70000000212345600122e+09,0,0,12.5,NULL,NULL,0,0,NULL,NULL,NULL,0.0123,1,NULL,31234.5,0.000412,0.00131,52.25,0,0,NULL,NULL,NULL,NULL,1,NULL,NULL);
CREATE TABLE sensor (
        no INTEGER PRIMARY KEY,
        sensor_id TEXT NOT NULL UNIQUE CHECK (typeof(sensor_id) = 'text' AND sensor_id <> ''));
INSERT INTO "sensor" VALUES(1,'dome-1');
CREATE TABLE setting (name TEXT PRIMARY KEY, value NOT NULL) WITHOUT ROWID;
INSERT INTO "setting" VALUES('min_gap_s',1.0);
CREATE TABLE setup (
        no INTEGER PRIMARY KEY, id BLOB NOT NULL UNIQUE CHECK (typeof(id) = 'blob' AND length(id) = 16), created_at_s REAL NOT NULL CHECK (created_at_s BETWEEN -1e15 AND 1e15));
INSERT INTO "setup" VALUES(1,X'01A211C29AF42FD97E4F9EFD3D6BD5C7',1700000000.0);
CREATE TABLE setup_version (
        no INTEGER PRIMARY KEY, id BLOB NOT NULL UNIQUE CHECK (typeof(id) = 'blob' AND length(id) = 16),
        setup_no INTEGER NOT NULL REFERENCES setup (no),
        name TEXT NOT NULL CHECK (typeof(name) = 'text' AND name <> ''),
        name_key TEXT NOT NULL CHECK (typeof(name_key) = 'text'),                       -- case-folded name
        iso REAL NOT NULL CHECK (iso BETWEEN 1e-300 AND 1e15),
        shutter_s REAL CHECK (shutter_s BETWEEN 1e-300 AND 1e+15),
        camera_offset_stops REAL NOT NULL DEFAULT 0 CHECK (camera_offset_stops BETWEEN -1e15 AND 1e15),
        filter_stops REAL NOT NULL DEFAULT 0 CHECK (filter_stops BETWEEN 0 AND 1e15),
        notes TEXT NOT NULL DEFAULT '' CHECK (typeof(notes) = 'text'),
        tags TEXT NOT NULL DEFAULT '' CHECK (typeof(tags) = 'text'),                                 -- one a line
        subject TEXT NOT NULL DEFAULT '' CHECK (typeof(subject) = 'text'),
        archived INTEGER NOT NULL DEFAULT 0 CHECK (archived IN (0, 1)),
        details TEXT NOT NULL DEFAULT '' CHECK (typeof(details) = 'text'));
INSERT INTO "setup_version" VALUES(1,X'01A211C29AF5A62D3DA16208C4B0ADBF',1,'Old set','old set',100.0,NULL,0.0,0.0,'','','',0,'');
CREATE TABLE waveform (
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
        clipped INTEGER NOT NULL DEFAULT 0 CHECK (clipped IN (0, 1)),
        truncated INTEGER NOT NULL DEFAULT 0 CHECK (truncated IN (0, 1)),
        held_off_m REAL CHECK (held_off_m BETWEEN 0 AND 1e+15),
        byte_count INTEGER NOT NULL CHECK (byte_count BETWEEN 0 AND 16777216),  -- before compression
        samples BLOB NOT NULL CHECK (typeof(samples) = 'blob'),                        -- zlib
        UNIQUE (setup_no, reading_id, pop_index),
        FOREIGN KEY (setup_no, reading_id) REFERENCES reading (setup_no, id));
INSERT INTO "waveform" VALUES(1,1,X'01A211C29B20726E799668ED7E3939C3',0,12.5,7,8,8,'[[0,75,2.6e-05],[75,225,0.000104]]',64,1,0,0,NULL,300,X'78016366616563E7E064A62975EEFC858BA7CF9C1DEA1400DD4CA27E');
CREATE INDEX setup_version_latest ON setup_version (setup_no, id);
CREATE INDEX setup_version_name ON setup_version (name_key);
CREATE INDEX light_of_setup ON light (setup_no);
CREATE INDEX light_version_latest ON light_version (light_no, id);
CREATE INDEX placement_latest ON placement (light_no, id);
CREATE INDEX calibration_of_sensor ON calibration (sensor_no, id);
CREATE INDEX mark_of_reading ON mark (setup_no, reading_id);
CREATE INDEX note_of_key ON note (kind, key, id);
COMMIT;
PRAGMA application_id=1299475563;
PRAGMA user_version=2;
