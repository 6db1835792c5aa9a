-- Everything the studio holds. Hours are decimal hours, areas dm2, lengths cm, instants UTC without zone,
-- days are days of the studio's own calendar. `key` of a phase or technique is its name at birth: it stays
-- when the name changes, so that a file brought in twice is recognised after a rename.

CREATE TABLE settings (
    setting VARCHAR PRIMARY KEY,      -- zone, currency, day_order, bench_hours_per_week, hourly_rate, studio
    value VARCHAR NOT NULL            -- as text; read back by ingest/studio/settings.py
);

CREATE TABLE change_counter (
    changes BIGINT NOT NULL           -- raised once in each write; keys every cache
);
INSERT INTO change_counter VALUES (0);

CREATE TABLE phases (
    phase VARCHAR PRIMARY KEY,        -- name on screens
    key VARCHAR NOT NULL UNIQUE,
    position INTEGER NOT NULL,        -- order of work; 0: studio time, on no object
    note VARCHAR,
    retired_on DATE
);

CREATE TABLE techniques (
    technique VARCHAR PRIMARY KEY,
    key VARCHAR NOT NULL UNIQUE,
    phase VARCHAR NOT NULL,           -- usual phase
    unit VARCHAR,                     -- dm2, cm, pcs, or null: not measured
    mode VARCHAR NOT NULL,            -- usual mode: hands_on, attended, unattended
    condition VARCHAR,                -- structure, paint or surface: which grade bears on it
    cautions VARCHAR,                 -- caution classes, | between
    note VARCHAR,
    retired_on DATE
);

CREATE TABLE spellings (
    kind VARCHAR NOT NULL,            -- phase or technique
    spelling VARCHAR NOT NULL,        -- folded: no case, accents or hyphens
    written VARCHAR NOT NULL,         -- as first written
    key VARCHAR NOT NULL,             -- of the phase or technique meant
    PRIMARY KEY (kind, spelling)
);

CREATE TABLE people (
    person VARCHAR PRIMARY KEY,
    first_seen TIMESTAMP NOT NULL     -- UTC
);

CREATE TABLE objects (
    object VARCHAR PRIMARY KEY,       -- the studio's own code
    title VARCHAR, maker VARCHAR, kind VARCHAR, support VARCHAR,
    shape VARCHAR,                    -- rectangle, oval, round, irregular
    height_cm DOUBLE, width_cm DOUBLE, area_dm2 DOUBLE,  -- area_dm2 wins over shape and size
    structure_condition INTEGER, paint_condition INTEGER, surface_condition INTEGER,  -- 0 none to 3 severe
    received_on DATE, due_on DATE, finished_on DATE,
    returned_from VARCHAR, commission VARCHAR, note VARCHAR,
    owner VARCHAR, owner_address VARCHAR                 -- private
);

-- Area in dm2: as said, or by shape and size; null for an irregular shape or a side unknown.
CREATE VIEW object_areas AS
SELECT object,
    coalesce(area_dm2, CASE coalesce(shape, 'rectangle')
        WHEN 'rectangle' THEN height_cm * width_cm / 100
        WHEN 'oval' THEN pi() / 4 * height_cm * width_cm / 100
        WHEN 'round' THEN pi() / 4 * height_cm * coalesce(width_cm, height_cm) / 100
    END) AS area_dm2
FROM objects;

CREATE TABLE estimate_versions (
    object VARCHAR NOT NULL, version INTEGER NOT NULL,
    made_on DATE NOT NULL, approved_on DATE, approved_option VARCHAR,
    reason VARCHAR, price DOUBLE, currency VARCHAR,
    PRIMARY KEY (object, version)
);

-- A line is one phase, technique and part of an object. Spells and estimates name it by number: a comparison adds up
-- a million spells by one integer, and a renamed word changes one row.
CREATE SEQUENCE line_number;
CREATE TABLE lines (
    line INTEGER PRIMARY KEY DEFAULT nextval('line_number'),
    object VARCHAR,                   -- null: studio time
    phase VARCHAR NOT NULL, technique VARCHAR NOT NULL,
    part VARCHAR NOT NULL             -- empty: the whole object
);

CREATE TABLE estimated_lines (
    version INTEGER NOT NULL, line INTEGER NOT NULL,
    person VARCHAR, option VARCHAR,
    quantity DOUBLE, unit VARCHAR, hours DOUBLE, low_hours DOUBLE, high_hours DOUBLE,
    unattended_hours DOUBLE, note VARCHAR
);
CREATE VIEW estimate_lines AS
SELECT l.object, e.version, l.phase, l.technique, l.part, e.* EXCLUDE (version) FROM estimated_lines AS e JOIN lines AS l ON l.line = e.line;

-- No index on spells: the one writer looks for an entry before it stores it, and an index over
-- text makes a long import three times slower.
CREATE TABLE spells (
    entry VARCHAR NOT NULL,           -- identity
    line INTEGER NOT NULL,
    person VARCHAR NOT NULL,
    day DATE NOT NULL,                -- on which the spell began
    started_at TIMESTAMP, ended_at TIMESTAMP,            -- null: entered as date and hours, no clock
    hours DOUBLE NOT NULL,            -- length of the spell
    counted_hours DOUBLE NOT NULL,    -- what counts as the person's hours: 0 unattended, attended only outside her own hands-on spells
    mode VARCHAR NOT NULL, charge VARCHAR NOT NULL,
    quantity DOUBLE, unit VARCHAR, done DOUBLE,
    discovery BOOLEAN, note VARCHAR,
    content UUID NOT NULL             -- md5 of what the entry says: equal rows are found by it
);
-- The time entry as people know it: a spell with its line spelled out.
CREATE VIEW time_entries AS
SELECT s.entry, l.object, l.phase, l.technique, l.part, s.* EXCLUDE (entry) FROM spells AS s JOIN lines AS l ON l.line = s.line;

CREATE TABLE milestones (
    object VARCHAR NOT NULL, phase VARCHAR NOT NULL,
    technique VARCHAR NOT NULL,       -- empty: the whole phase
    part VARCHAR NOT NULL, finished_on DATE NOT NULL,
    PRIMARY KEY (object, phase, technique, part, finished_on)
);

CREATE SEQUENCE history_number;
CREATE TABLE history (
    number BIGINT PRIMARY KEY DEFAULT nextval('history_number'),
    kind VARCHAR NOT NULL,            -- which table
    key VARCHAR NOT NULL,             -- which row
    changed_at TIMESTAMP NOT NULL,    -- UTC
    changed_by VARCHAR, reason VARCHAR,
    earlier JSON NOT NULL,            -- the row as it was
    content UUID                      -- what it said, for a row that comes back
);

CREATE TABLE held_back (
    content UUID NOT NULL, rank BIGINT NOT NULL,         -- identity of the row
    resembles VARCHAR NOT NULL,       -- the entry it may correct
    file VARCHAR NOT NULL, line BIGINT,
    noticed_at TIMESTAMP NOT NULL,    -- UTC
    said JSON NOT NULL,               -- the row, columns of time_entries
    decided VARCHAR,                  -- null: open; new; correction
    PRIMARY KEY (content, rank)
);

CREATE SEQUENCE import_number;
CREATE TABLE imports (
    number BIGINT PRIMARY KEY DEFAULT nextval('import_number'),
    imported_at TIMESTAMP NOT NULL, file VARCHAR NOT NULL, kind VARCHAR NOT NULL,
    stored BIGINT NOT NULL, corrected BIGINT NOT NULL, already_held BIGINT NOT NULL, held_back BIGINT NOT NULL, rejected BIGINT NOT NULL
);
