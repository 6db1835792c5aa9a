-- Quotes that were saved as versions of an estimate, with what they stood on, so that they can be reckoned again; and versions that came to nothing.

CREATE TABLE quotes (
    object VARCHAR NOT NULL, version INTEGER NOT NULL,  -- of the estimate
    number INTEGER,                   -- under which it was written, and that stands on its letter
    as_of DATE NOT NULL,              -- nothing that is dated later had any part in it
    saved_at TIMESTAMP NOT NULL, saved_by VARCHAR,  -- UTC
    program VARCHAR NOT NULL,         -- the version of bench-hours that reckoned it
    works INTEGER NOT NULL, lines INTEGER NOT NULL,  -- finished ones that stood behind it
    first_stage BOOLEAN NOT NULL,     -- its price is for a first stage alone
    written JSON, letter JSON         -- as it was typed, and as it was sent; private
);

-- What each option of it promised (empty: it has none): hours that the price is for.
CREATE TABLE quoted_options (
    object VARCHAR NOT NULL, version INTEGER NOT NULL, option VARCHAR NOT NULL,
    confidence INTEGER NOT NULL,      -- in 100, to end within the promised hours
    promised_hours DOUBLE NOT NULL,
    p10 DOUBLE NOT NULL, p50 DOUBLE NOT NULL, p80 DOUBLE NOT NULL, p90 DOUBLE NOT NULL,
    price DOUBLE, currency VARCHAR NOT NULL,
    stood_on JSON NOT NULL            -- seed, draws, and all else that its figures are reckoned from
);

-- The lines that its price is for, all of them in each option. A quoted line without own hours was told by the record alone: its hours in the estimate are nobody's figure.
CREATE TABLE quoted_lines (
    object VARCHAR NOT NULL, version INTEGER NOT NULL, option VARCHAR NOT NULL,
    place INTEGER NOT NULL,           -- from 1, in the order of work
    phase VARCHAR NOT NULL, technique VARCHAR NOT NULL, part VARCHAR NOT NULL,
    p10 DOUBLE NOT NULL, p50 DOUBLE NOT NULL, p80 DOUBLE NOT NULL, p90 DOUBLE NOT NULL, promised_hours DOUBLE NOT NULL,
    own_hours DOUBLE,                 -- her own figure, of the whole line
    worked_hours DOUBLE NOT NULL,     -- taken over from the bench: worked before the version was made
    begun BOOLEAN NOT NULL,           -- there was an entry on it when the version was saved, but at own cost: what is said of it is no forecast, also where that entry is moved later
    rate DOUBLE, rate_low DOUBLE, rate_high DOUBLE, unit VARCHAR,  -- hours per unit, or per line; null: nothing was known of the technique
    pinned BOOLEAN NOT NULL,
    works JSON NOT NULL               -- codes of the finished works behind that rate
);

-- Versions that the owner declined or the studio withdrew: they stay, are counted, and are no yardstick and no figure from that day on.
CREATE TABLE ended_versions (
    object VARCHAR NOT NULL, version INTEGER NOT NULL,
    outcome VARCHAR NOT NULL,         -- declined; withdrawn
    ended_on DATE NOT NULL, reason VARCHAR
);
CREATE VIEW standing_versions AS SELECT v.* FROM estimate_versions AS v ANTI JOIN ended_versions AS e ON e.object = v.object AND e.version = v.version;

-- Each line of a version with what is a figure of hers and what is not. What a quote told from the record alone is nobody's figure, not where it was copied into a later version either;
-- what was begun when a quote was saved is taken over from the bench, and so is a copy of it.
CREATE VIEW own_figures AS
WITH quoted AS (
    SELECT l.line, q.version, q.option, CASE WHEN count(q.own_hours) = count(*) THEN sum(q.own_hours) END AS own_hours, bool_or(q.begun) AS begun
    FROM quoted_lines AS q JOIN lines AS l ON l.object = q.object AND l.phase = q.phase AND l.technique = q.technique AND l.part = q.part
    GROUP BY l.line, q.version, q.option
), told AS (
    SELECT q.*, sum(e.hours) AS hours FROM quoted AS q JOIN estimated_lines AS e ON e.line = q.line AND e.version = q.version AND coalesce(e.option, '') = q.option GROUP BY ALL
), copied AS (
    SELECT DISTINCT ON (e.line, e.version, e.hours) e.line, e.version, e.hours, t.own_hours, t.begun
    FROM estimated_lines AS e JOIN told AS t ON t.line = e.line AND t.version < e.version AND t.hours = e.hours ORDER BY t.version DESC
)
SELECT e.* EXCLUDE (hours), e.hours AS estimate_hours,
    CASE WHEN t.line IS NOT NULL THEN t.own_hours WHEN c.line IS NOT NULL THEN c.own_hours ELSE e.hours END AS hours, coalesce(t.begun, c.begun, false) AS taken_over
FROM estimated_lines AS e
LEFT JOIN told AS t ON t.line = e.line AND t.version = e.version AND t.option = coalesce(e.option, '')
LEFT JOIN copied AS c ON c.line = e.line AND c.version = e.version AND c.hours = e.hours;
