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
INSERT INTO "calibration" VALUES(1,X'01A225DE3C24C3F8FD0A102365E4986F',1,1700000000.0,330.0,0,0.05,0,'assumed',NULL,'','','','');
INSERT INTO "calibration" VALUES(2,X'01A225DE3C3D71C4C8633131168E1DE3',2,1700000000.5,250.0,1,0.07,1,'reference',21.5,'lux meter','[1.0,0.5]','[[0.0,1.0],[60.0,0.48]]','{"a":1}');
CREATE TABLE calibration_range (
        calibration_no INTEGER NOT NULL REFERENCES calibration (no),
        range_index INTEGER NOT NULL CHECK (range_index BETWEEN 0 AND 255),
        full_scale_lx REAL NOT NULL CHECK (full_scale_lx BETWEEN -1e15 AND 1e15),
        dark_raw REAL NOT NULL CHECK (dark_raw BETWEEN -1e15 AND 1e15),
        u_rel REAL NOT NULL CHECK (u_rel BETWEEN 0 AND 1e15),
        PRIMARY KEY (calibration_no, range_index)) WITHOUT ROWID;
INSERT INTO "calibration_range" VALUES(1,0,100000.0,0.0,0.0);
INSERT INTO "calibration_range" VALUES(1,1,1000.0,0.01,0.02);
INSERT INTO "calibration_range" VALUES(2,0,10000.0,0.1,0.1);
CREATE TABLE light (
        no INTEGER PRIMARY KEY, id BLOB NOT NULL UNIQUE CHECK (typeof(id) = 'blob' AND length(id) = 16), setup_no INTEGER NOT NULL REFERENCES setup (no));
INSERT INTO "light" VALUES(1,X'01A225DE3C1460C098360E69D0115E28',1);
INSERT INTO "light" VALUES(2,X'01A225DE3C18F4AF0B866E93A3F64E11',1);
INSERT INTO "light" VALUES(3,X'01A225DE3C2CE7FBE64C7B3393E58A6F',1);
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
INSERT INTO "light_version" VALUES(1,X'01A225DE3C1578AF3922F3E71091BFD3',1,'Key','key',0,'face',1,'','',NULL,0,NULL,NULL,NULL,'',0);
INSERT INTO "light_version" VALUES(2,X'01A225DE3C1955D8E40408020034DA2A',2,'Fill','fill',1,'face',2,'','',NULL,0,NULL,NULL,NULL,'',0);
INSERT INTO "light_version" VALUES(3,X'01A225DE3C2D30EF8DF1B1E0D7C3FD71',3,'Card','card',5,'background',3,'head A','octa 90',1,1,3.33333333333333314829e-01,-7.0,500.0,'{"scale_top":10}',0);
INSERT INTO "light_version" VALUES(4,X'01A225DE3C30A0CBC180396594E7EB66',3,'Card','card',5,'background',3,'head A','octa 90',1,1,3.33333333333333314829e-01,-7.0,500.0,'{"scale_top":10}',1);
INSERT INTO "light_version" VALUES(5,X'01A225DE3C3486F2EC96A4D677F62C5A',3,'Karte Ü','karte ü',5,'background',3,'head A','octa 90',2,1,3.33333333333333314829e-01,-7.0,500.0,'{"scale_top":10}',0);
CREATE TABLE mark (
        no INTEGER PRIMARY KEY, id BLOB NOT NULL UNIQUE CHECK (typeof(id) = 'blob' AND length(id) = 16),
        setup_no INTEGER NOT NULL REFERENCES setup (no),
        reading_id BLOB NOT NULL,
        kind INTEGER NOT NULL CHECK (kind = 0),       -- 0 void
        at_s REAL NOT NULL CHECK (at_s BETWEEN -1e15 AND 1e15),
        reason TEXT NOT NULL DEFAULT '' CHECK (typeof(reason) = 'text'),
        FOREIGN KEY (setup_no, reading_id) REFERENCES reading (setup_no, id));
INSERT INTO "mark" VALUES(1,X'01A225DE3C44778AC2BF4CC31C171D8F',1,X'01A225DE3C438F97ACB22BE4D3CAE1AB',0,1.79593165113851904865e+09,'stray pop');
CREATE TABLE memory (key TEXT PRIMARY KEY, value NOT NULL) WITHOUT ROWID;
INSERT INTO "memory" VALUES('current_setup','01a225de3c10d8cc945907f4e42be7f6');
INSERT INTO "memory" VALUES('last_sensor','sim:');
INSERT INTO "memory" VALUES('walk',X'7B2261223A205B315D7D');
CREATE TABLE migration (
        number INTEGER PRIMARY KEY, name TEXT NOT NULL, applied_at_s REAL NOT NULL);
INSERT INTO "migration" VALUES(1,'set-ups, lights, placements, calibrations, readings',1.79593165107013034821e+09);
INSERT INTO "migration" VALUES(2,'notes: learnt facts',1.79593165108106422424e+09);
INSERT INTO "migration" VALUES(3,'what has been exchanged with shared libraries',1.79593165108495140072e+09);
CREATE TABLE note (
        no INTEGER PRIMARY KEY, id BLOB NOT NULL UNIQUE CHECK (typeof(id) = 'blob' AND length(id) = 16),
        kind TEXT NOT NULL CHECK (typeof(kind) = 'text' AND kind <> ''),
        key TEXT NOT NULL CHECK (typeof(key) = 'text'),
        at_s REAL NOT NULL CHECK (at_s BETWEEN -1e15 AND 1e15),
        payload TEXT NOT NULL CHECK (typeof(payload) = 'text'));
INSERT INTO "note" VALUES(1,X'01A225DE3C47F88388CBC1A5383C7038','falloff','octa 90',1.79593165114316892626e+09,'{"chi2":1.1027856964279525e-19,"far_m":2.4,"high_m":4.878705855504969,"law":"shifted","level_stops":5.999999999991404,"low_m":0.5722411224704641,"near_m":0.8,"other_parameter_m":0.37125640159921636,"other_weight":0.3650308516286944,"parameter_m":0.09999999999575437,"points":[[0.8,6.3040061868901,0.02],[1.2,5.24297675349254,0.02],[1.8,4.148001162887553,0.02],[2.4,3.356143810225275,0.02]],"receptor":"dome","residuals":[-5.015432513744145e-12,-8.280043317654417e-13,2.147615418834903e-12,3.695710404372221e-12],"u_parameter_m":0.01278442115603409}');
INSERT INTO "note" VALUES(2,X'01A225DE3C48FB9492B0EF5486DC9D55','favourite','octa 90',1.79593165114409899713e+09,'{"on":true}');
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
INSERT INTO "placement" VALUES(1,X'01A225DE3C1C4453E6660DE02D03BB7A',1,1700000001.0,2,0.6,0.9,1.4,NULL,NULL,NULL,0.0,'',NULL,1.0,0.0,NULL,'','',NULL,'','');
INSERT INTO "placement" VALUES(2,X'01A225DE3C20BC9B2FDC69928907FDA0',2,1700000001.0,2,0.6,0.9,1.4,NULL,NULL,NULL,0.0,'',NULL,1.0,0.0,NULL,'','',NULL,'','');
INSERT INTO "placement" VALUES(3,X'01A225DE3C38BD32E33DB1CA91BB6A17',3,1700000001.0,1,0.9,NULL,1.4,0.01,-40.0,30.0,5.0,'1/4+0.3',-2.3,2.0,0.1,40.0,'half CTO','two',2.1,'face','{"x":1}');
INSERT INTO "placement" VALUES(4,X'01A225DE3C3C5FBE49A82C3CA06FFF95',1,1700000001.0,0,NULL,NULL,NULL,NULL,NULL,NULL,0.0,'',NULL,1.0,0.0,NULL,'','',NULL,'','');
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
INSERT INTO "pop" VALUES(1,X'01A225DE3C42D996B177D81384ED1E7F',0,12.5,0.0123,31234.5,0.000412,0.00131,52.25,0,1);
INSERT INTO "pop" VALUES(1,X'01A225DE3C42D996B177D81384ED1E7F',1,6.1,0.0123,NULL,0.000412,0.00131,52.25,1,1);
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
INSERT INTO "reading" VALUES(1,X'01A225DE3C3E61A1EDBEC760A96C34A9',1,1,1,1,1.70000000212345600122e+09,0,0,12.5,NULL,NULL,0,0,NULL,NULL,NULL,0.0123,1,NULL,31234.5,0.000412,0.00131,52.25,0,0,NULL,NULL,NULL,NULL,1,NULL,NULL);
INSERT INTO "reading" VALUES(1,X'01A225DE3C3FFE1397294EF581DC09A3',1,1,1,1,1.70000000212345600122e+09,0,0,13.0,NULL,NULL,0,0,NULL,NULL,NULL,0.0123,1,NULL,31234.5,0.000412,0.00131,52.25,0,0,NULL,NULL,NULL,NULL,1,X'01A225DE3C3E61A1EDBEC760A96C34A9',NULL);
INSERT INTO "reading" VALUES(1,X'01A225DE3C42D996B177D81384ED1E7F',2,2,1,1,1.70000000212345600122e+09,0,0,6.0,NULL,NULL,0,0,NULL,NULL,NULL,0.0123,2,NULL,31234.5,0.000412,0.00131,52.25,0,0,NULL,NULL,NULL,NULL,1,NULL,NULL);
INSERT INTO "reading" VALUES(1,X'01A225DE3C438F97ACB22BE4D3CAE1AB',1,1,1,1,1.70000000212345600122e+09,0,0,12.5,NULL,NULL,0,0,NULL,NULL,NULL,0.0123,1,NULL,31234.5,0.000412,0.00131,52.25,0,0,NULL,NULL,NULL,NULL,1,NULL,NULL);
INSERT INTO "reading" VALUES(1,X'01A225DE3C453732AD3C095DF19871B7',3,3,2,2,1.70000000212345600122e+09,1,0,NULL,350.0,'background',1,1,0.2,'0.1,0,0.2',0.01,0.0123,0,NULL,31234.5,0.000412,0.00131,52.25,1,1,5600.0,-0.002,0.33,0.34,1,NULL,'n');
INSERT INTO "reading" VALUES(1,X'01A225DE3C46ECE97801B50BF4FC6016',NULL,NULL,1,1,1.70000000212345600122e+09,0,3,12.5,NULL,NULL,0,0,NULL,NULL,NULL,0.0123,1,X'01A225DE3C1460C098360E69D0115E2801A225DE3C18F4AF0B866E93A3F64E11',31234.5,0.000412,0.00131,52.25,0,0,NULL,NULL,NULL,NULL,1,NULL,NULL);
CREATE TABLE sensor (
        no INTEGER PRIMARY KEY,
        sensor_id TEXT NOT NULL UNIQUE CHECK (typeof(sensor_id) = 'text' AND sensor_id <> ''));
INSERT INTO "sensor" VALUES(1,'dome-1');
INSERT INTO "sensor" VALUES(2,'flat-é');
CREATE TABLE setting (name TEXT PRIMARY KEY, value NOT NULL) WITHOUT ROWID;
INSERT INTO "setting" VALUES('min_gap_s',1.0);
CREATE TABLE setup (
        no INTEGER PRIMARY KEY, id BLOB NOT NULL UNIQUE CHECK (typeof(id) = 'blob' AND length(id) = 16), created_at_s REAL NOT NULL CHECK (created_at_s BETWEEN -1e15 AND 1e15));
INSERT INTO "setup" VALUES(1,X'01A225DE3C10D8CC945907F4E42BE7F6',1700000000.0);
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
INSERT INTO "setup_version" VALUES(1,X'01A225DE3C11B21B8D46FBE1ACA39F6D',1,'Old set','old set',100.0,NULL,0.0,0.0,'','','',0,'');
INSERT INTO "setup_version" VALUES(2,X'01A225DE3C28306CA705DA4B91499912',1,'Old set','old set',200.0,0.0078125,-0.3,1.0,'two
lines','one
zwei, ü','Bust',0,'{"face_height_m":1.6,"points":{"a":[1,2.5,null]}}');
CREATE TABLE sync_state (
        remote TEXT NOT NULL,                         -- id of the shared library
        part TEXT NOT NULL,                           -- a table, "fetched" or "own"
        setup_no INTEGER NOT NULL,                    -- set-up for readings, batch for "own", else 0
        number INTEGER NOT NULL,                      -- last no, count of readings, or batch
        mark BLOB NOT NULL,                           -- last reading's id, or the batch's stamp
        PRIMARY KEY (remote, part, setup_no)) WITHOUT ROWID;
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
INSERT INTO "waveform" VALUES(1,1,X'01A225DE3C3E61A1EDBEC760A96C34A9',0,12.5,7,8,8,'[[0,75,2.6e-05],[75,225,0.000104]]',64,1,0,0,NULL,300,X'78016366616563E7E064A62975EEFC858BA7CF9C1DEA1400DD4CA27E');
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
PRAGMA user_version=3;
