-- The lines of one object that are compared under another one, as things stood on the day $as_of: $members are such lines, $heads that one (dashboard/analysis/data/levels.py).
WITH grouped AS (
    SELECT unnest($members::INTEGER[]) AS line, unnest($heads::INTEGER[]) AS head
), estimated AS (
    SELECT e.line, CASE WHEN count(e.hours) = count(*) THEN sum(e.hours) END AS hours
    FROM yardsticks($as_of) AS y JOIN lines AS l ON l.object = y.object
    JOIN estimated_lines AS e ON e.line = l.line AND e.version = y.version AND (e.option IS NULL OR coalesce(e.option = y.option, false))
    WHERE y.object = $object GROUP BY e.line
), spent AS (
    SELECT s.line, sum(s.counted_hours) AS hours FROM spells AS s JOIN grouped AS g ON g.line = s.line
    WHERE s.charge = 'quoted' AND s.day <= $as_of GROUP BY s.line HAVING sum(s.counted_hours) > 0
)
SELECT h.phase AS head_phase, h.part AS head_part, l.phase, l.technique, l.part, coalesce(s.hours, 0) AS hours, e.hours AS estimated_hours
FROM grouped AS g JOIN lines AS l ON l.line = g.line JOIN lines AS h ON h.line = g.head
LEFT JOIN phases AS p ON p.phase = l.phase LEFT JOIN spent AS s ON s.line = l.line LEFT JOIN estimated AS e ON e.line = l.line
WHERE l.object = $object AND (s.line IS NOT NULL OR e.line IS NOT NULL)
ORDER BY p.position, h.phase, h.part, l.phase, l.technique, l.part
