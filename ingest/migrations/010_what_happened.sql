-- What happened to each row of the history is a kind of its own: made, corrected, brought in, renamed, joined, retired, approved, taken back, put back (ingest/tables/audit_log.py says what each is).
-- Until now it could only be guessed from the reason, which people type. Of rows of before it is worked out once, by events_of_before.sql.

ALTER TABLE history ADD COLUMN event VARCHAR DEFAULT 'corrected';
ALTER TABLE history ALTER event SET NOT NULL;
ALTER TABLE history ALTER event DROP DEFAULT;

-- What each word of a phone changed in the record: a device is held to its own last days by it, and all that a device did can be taken back.
-- An outcome may from now on be, beside saved, overtaken and refused: held back (it waits for the principal); taken in (the principal did, and it is to be
-- settled); left out (the principal did not take it in).

-- As which a device came in: logs; principal; null: this machine, or not known any more.
ALTER TABLE phone_actions ADD COLUMN role VARCHAR;
UPDATE phone_actions SET role = d.role FROM devices AS d WHERE d.device = phone_actions.device;

-- No index on these: the one writer looks before it stores.
CREATE TABLE phone_changes (
    action VARCHAR NOT NULL,          -- the word that changed it
    entry VARCHAR NOT NULL,           -- the entry, as it was called then
    event VARCHAR NOT NULL,           -- made; corrected; taken back
    history BIGINT NOT NULL           -- number in the history of the row that keeps what was before; made: the highest number that the history had then
);

-- What the principal decided of words held back.
CREATE TABLE phone_decisions (
    action VARCHAR NOT NULL,
    decision VARCHAR NOT NULL,        -- taken in; left out
    decided_at TIMESTAMP NOT NULL,    -- UTC; a word that is taken in counts as said then
    decided_by VARCHAR
);

-- What was changed before this was kept: the history has the same instant as the outcome.
INSERT INTO phone_changes
SELECT a.action, h.key, CASE WHEN a.said->>'state' = 'logged' AND a.entry = h.key THEN 'corrected' ELSE 'taken back' END, h.number
FROM history AS h JOIN phone_outcomes AS o ON o.settled_at = h.changed_at AND o.outcome = 'saved' JOIN phone_actions AS a ON a.action = o.action
WHERE h.kind = 'time_entries' AND split_part(a.entry, '+share ', 1) = split_part(h.key, '+share ', 1)
QUALIFY row_number() OVER (PARTITION BY h.number ORDER BY a.number DESC, a.action) = 1;

-- An entry with a name made on a phone is made by the first word that logged its spell, unless that corrected it.
INSERT INTO phone_changes
SELECT f.action, e.entry, 'made', coalesce((SELECT max(h.number) FROM history AS h WHERE h.changed_at < f.settled_at), 0)
FROM (SELECT entry FROM spells UNION SELECT key FROM history WHERE kind = 'time_entries') AS e
JOIN (
    SELECT split_part(a.entry, '+share ', 1) AS spell, arg_min(a.action, (o.settled_at, a.number)) AS action, min(o.settled_at) AS settled_at
    FROM phone_actions AS a JOIN phone_outcomes AS o ON o.action = a.action WHERE o.outcome = 'saved' AND a.said->>'state' = 'logged' GROUP BY spell
) AS f ON f.spell = split_part(e.entry, '+share ', 1)
WHERE regexp_full_match(f.spell, '[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}')
    AND NOT EXISTS (FROM history AS h WHERE h.kind = 'time_entries' AND h.key = e.entry AND h.changed_at <= f.settled_at);

-- The version by which a work stands, in one place. These are macros and not views, as nearly every question is asked of a day; where no day is meant, it is 'infinity'.
-- A macro is bound where it is called, so it knows columns that its tables were given later.

-- Versions made by a day that were neither declined nor withdrawn by then.
CREATE MACRO standing_on(as_of) AS TABLE
SELECT v.* FROM estimate_versions AS v
ANTI JOIN (SELECT object, version FROM ended_versions WHERE ended_on <= as_of) AS x ON x.object = v.object AND x.version = v.version
WHERE v.made_on <= as_of;

-- One row for each work that has a version standing: its yardstick is the latest approved, else (not `approved`) the latest made. `option`: the approved one;
-- null: it has none, or none is approved. Beside it the first version that was approved.
CREATE MACRO yardsticks(as_of) AS TABLE
SELECT object,
    coalesce(max(version) FILTER (approved_on <= as_of), max(version)) AS version,
    arg_max_null(approved_option, version) FILTER (approved_on <= as_of) AS option,
    coalesce(bool_or(approved_on <= as_of), false) AS approved,
    min(version) FILTER (approved_on <= as_of) AS first_version,
    arg_min_null(approved_option, version) FILTER (approved_on <= as_of) AS first_option
FROM standing_on(as_of) GROUP BY object;

DROP VIEW standing_versions;

-- The area of a work has one formula, for works that are held and for one that is only described.

-- In dm2: as given, or by shape and size; null for an irregular shape or a side unknown.
CREATE MACRO area_of(area_dm2, shape, height_cm, width_cm) AS coalesce(area_dm2, CASE coalesce(shape, 'rectangle')
    WHEN 'rectangle' THEN height_cm * width_cm / 100
    WHEN 'oval' THEN pi() / 4 * height_cm * width_cm / 100
    WHEN 'round' THEN pi() / 4 * height_cm * coalesce(width_cm, height_cm) / 100
END);
CREATE OR REPLACE VIEW object_areas AS SELECT object, area_of(area_dm2, shape, height_cm, width_cm) AS area_dm2 FROM objects;
