-- Hours of each line of the works $objects held against the estimate, day by day, as things stood on the day $as_of: in all by that day.
WITH daily AS (
    SELECT l.object, l.phase, l.technique, l.part, s.day, sum(s.counted_hours) AS hours FROM spells AS s JOIN lines_under($members, $heads) AS l ON l.line = s.line
    WHERE s.charge = 'quoted' AND s.day <= $as_of AND list_contains($objects::VARCHAR[], l.object) GROUP BY ALL HAVING sum(s.counted_hours) > 0
)
SELECT object, phase, technique, part, day::TIMESTAMP AS day, sum(hours) OVER (PARTITION BY object, phase, technique, part ORDER BY day) AS hours FROM daily ORDER BY ALL
