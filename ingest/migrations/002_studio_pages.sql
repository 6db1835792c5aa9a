-- What the studio's pages keep: drafts of estimates, and people whose names change.

-- An estimate being written: one a work, every committed cell kept, until it becomes a version.
CREATE TABLE drafts (
    object VARCHAR PRIMARY KEY,
    begun_at TIMESTAMP NOT NULL,      -- UTC
    kept_at TIMESTAMP NOT NULL,       -- UTC, of the last cell
    said JSON NOT NULL                -- {version: {column: text}, lines: [{column: text}], kept_by: visit}, columns of the estimates form
);

ALTER TABLE people ADD COLUMN left_on DATE;  -- no longer at the studio from this day; null: is

-- Every way in which a person's name is written. `key` is the name as it enters the identity of an entry: it stays
-- when the person is renamed, so that a file brought in twice is recognised. Filled for people already held by ingest/studio/people.py.
CREATE TABLE person_spellings (
    spelling VARCHAR PRIMARY KEY,     -- folded: no case, accents or hyphens
    written VARCHAR NOT NULL UNIQUE,  -- as first written
    person VARCHAR NOT NULL,
    key VARCHAR NOT NULL
);
