-- Low and high hours by hand of lines, in the version by which their work stands on the day $as_of; where a sum of equal lines has an unknown in it there is none. Of options only the approved one.
-- In the lines of a version that was saved from a quote they do not stand, as its hours are those of its promise: there they are among what it stood on.
WITH standing AS (
    FROM yardsticks($as_of)
), quoted AS (
    SELECT o.object, o.version, unnest(from_json(o.stood_on -> '$.by_hand', '[{"place": "INTEGER", "low": "DOUBLE", "high": "DOUBLE"}]')) AS range
    FROM quoted_options AS o JOIN standing AS s ON s.object = o.object AND s.version = o.version AND o.option = coalesce(s.option, '')
)
SELECT l.object, l.phase, l.technique, l.part, CASE WHEN count(e.low_hours) = count(*) THEN sum(e.low_hours) END AS low_hours, CASE WHEN count(e.high_hours) = count(*) THEN sum(e.high_hours) END AS high_hours
FROM standing AS s JOIN lines AS l ON l.object = s.object JOIN estimated_lines AS e ON e.line = l.line AND e.version = s.version AND (e.option IS NULL OR e.option = s.option)
ANTI JOIN quotes AS q ON q.object = s.object AND q.version = s.version
GROUP BY ALL HAVING count(e.low_hours) = count(*) AND count(e.high_hours) = count(*)
UNION ALL
SELECT w.object, w.phase, w.technique, w.part, r.range.low, r.range.high
FROM quoted AS r JOIN standing AS s ON s.object = r.object JOIN quoted_lines AS w ON w.object = r.object AND w.version = r.version AND w.option = coalesce(s.option, '') AND w.place = r.range.place
ORDER BY ALL
