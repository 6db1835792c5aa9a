-- A line may name a technique, only a phase (technique empty: the phase as a whole), or neither (phase empty too: the work as a whole). No table changes for it, as an empty name
-- could always stand; what is above what is said here, once.

-- How far above a technique a line stands: 0 a technique, 1 one part of a phase as a whole, 2 a phase as a whole, 3 the work as a whole.
CREATE MACRO level_of(phase, technique, part) AS CASE WHEN technique <> '' THEN 0 WHEN phase = '' THEN 3 WHEN part <> '' THEN 1 ELSE 2 END;

-- Whether a line of a whole phase or a whole work is another line itself or holds it, of the same object. What names a technique holds nothing but itself.
CREATE MACRO holds(phase, technique, part, held_phase, held_technique, held_part) AS
    (technique = '' AND (phase = '' OR (phase = held_phase AND part IN ('', held_part)))) OR (phase = held_phase AND technique = held_technique AND part = held_part);

-- What a line is called without its part.
CREATE MACRO line_name(phase, technique) AS CASE WHEN technique <> '' THEN technique WHEN phase <> '' THEN phase || ' as a whole' ELSE 'the work as a whole' END;

-- Every line with the names of the one under which it is compared: `members` are lines that are compared under another one, `heads` that one (dashboard/analysis/data/levels.py tells which).
CREATE MACRO lines_under(members, heads) AS TABLE
SELECT l.line, h.object, h.phase, h.technique, h.part
FROM lines AS l LEFT JOIN (SELECT unnest(members::INTEGER[]) AS line, unnest(heads::INTEGER[]) AS head) AS g ON g.line = l.line JOIN lines AS h ON h.line = coalesce(g.head, l.line);

-- Tables in other words than ours, and what was said of them: next month's file of the same form is known by its heads.

CREATE TABLE foreign_tables (
    heads VARCHAR PRIMARY KEY,        -- JSON list of the names of its heads, sorted; of a table with a column for each day, person or work those of the other columns alone
    reading JSON,                     -- what its rows are and how they are written (ingest/foreign/reading.py); null: nothing was said to its end yet
    draft JSON,                       -- what was said and not to its end; null: nothing is half said
    file VARCHAR NOT NULL,            -- the file of which it was said last
    kept_at TIMESTAMP NOT NULL,       -- UTC
    kept_by VARCHAR
);

CREATE TABLE foreign_words (
    heads VARCHAR NOT NULL,           -- of the table
    column_name VARCHAR NOT NULL,     -- object; phase; technique; person
    spelling VARCHAR NOT NULL,        -- the text as it is compared: no case, no accents
    written VARCHAR NOT NULL,         -- as it stood first
    means JSON NOT NULL,              -- values: what it puts into our columns; new_title: of a work that was new; left_out: its rows are none
    kept_at TIMESTAMP NOT NULL,       -- UTC
    kept_by VARCHAR,
    PRIMARY KEY (heads, column_name, spelling)
);

-- Spellings of the studio that came with a table: of which file, and when. What is planted, typed or once was a name has no row here.
CREATE TABLE spelling_origins (
    kind VARCHAR NOT NULL,            -- phase; technique; person
    spelling VARCHAR NOT NULL,        -- as in spellings and person_spellings
    file VARCHAR NOT NULL,            -- in which it stood
    kept_at TIMESTAMP NOT NULL,       -- UTC
    kept_by VARCHAR,
    PRIMARY KEY (kind, spelling)
);

-- Works told from memory, and hours that are a total: a studio that begins without a record can say what works of before took.

ALTER TABLE objects ADD COLUMN remembered BOOLEAN;  -- its hours were told from memory when the work was over; null: they were not

-- Hours of several days in one entry, and how well their date is known: day; month or year (dated within it). Null: the entry is one spell.
ALTER TABLE spells ADD COLUMN total VARCHAR;

-- A view knows the columns that its table had when it was made.
CREATE OR REPLACE VIEW time_entries AS
SELECT s.entry, l.object, l.phase, l.technique, l.part, s.* EXCLUDE (entry) FROM spells AS s JOIN lines AS l ON l.line = s.line;
