-- Time entries of a file with everything that follows from what was said: defaults of the technique, instants, hours, day.
-- The words in braces are SQL of ingest/values/timezones.py (the instant of a wall reading, and whether the clock was changed over it) and of ingest/importing/time_entries.py (what the row says).
CREATE OR REPLACE TEMP TABLE resolved AS
WITH timed AS (
    SELECT c.*,
        coalesce(c.started_at.utc, {start_utc}) AS start_utc,
        {start_in_change} AND c.started_at.utc IS NULL AS start_in_change,
        {end_in_change} AND c.ended_at.utc IS NULL AS end_in_change,
        s.is_gap AS start_gap, e.is_gap AS end_gap,
        e.change_from AS e_change_from, e.change_to AS e_change_to, e.ahead_before AS e_ahead_before, e.ahead_after AS e_ahead_after, e.is_gap AS e_is_gap
    FROM checked AS c
    LEFT JOIN zone_days AS s ON s.day = c.started_at.wall::DATE
    LEFT JOIN zone_days AS e ON e.day = c.ended_at.wall::DATE
), spelled AS (
    SELECT timed.*, coalesce(ended_at.utc, {end_utc}) AS end_utc,
        -- of what is said of a date the widest counts: a total of the year that is dated with a month is one of the year
        list_extract({totals}, greatest(list_position({totals}, total), list_position({totals}, date.total))) AS period
    FROM timed
), dated AS (
    -- hours of a month or a year are of its last day, of today where that is to come, or of the day within it on which the work was finished
    SELECT s.*, coalesce(s.started_at.wall::DATE, CASE WHEN s.date.total IS NULL THEN s.date.first
        WHEN o.finished_on BETWEEN s.date.first AND s.date.last THEN o.finished_on
        ELSE greatest(s.date.first, least(s.date.last, {today})) END) AS day
    FROM spelled AS s LEFT JOIN objects AS o ON o.object = s.object AND s.date.total IS NOT NULL
)
SELECT x."row", x.entry, x.object,
    coalesce(x.phase, t.phase, '') AS phase, coalesce(x.technique, '') AS technique, coalesce(x.part, '') AS part, coalesce(w.person, x.person) AS person,
    x.day,
    x.start_utc AS started_at, x.end_utc AS ended_at,
    coalesce(epoch(x.end_utc - x.start_utc) / 3600, x.hours) AS hours,
    coalesce(x.mode, t.mode, 'hands_on') AS mode, coalesce(x.charge, 'quoted') AS charge,
    x.quantity, CASE WHEN x.quantity IS NOT NULL THEN coalesce(x.unit, t.unit) END AS unit, x.done,
    x.discovery, x.note, x.period AS total,
    x.started_at IS NOT NULL AS says_start, x.ended_at IS NOT NULL AS says_end, x.date.first AS said_day, x.date.total AS said_period, x.total AS said_total, x.hours AS said_hours, x.unit AS said_unit,
    x.start_in_change, x.end_in_change, x.start_gap, x.end_gap,
    t.unit AS usual_unit, p.position AS phase_position, p.retired_on AS phase_retired_on, t.retired_on AS technique_retired_on,
    {content} AS content
FROM dated AS x
LEFT JOIN techniques AS t ON t.technique = x.technique
LEFT JOIN person_spellings AS w ON w.written = x.person
LEFT JOIN phases AS p ON p.phase = coalesce(x.phase, t.phase)
