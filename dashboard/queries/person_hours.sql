-- Counted hours of one person on each line, as far as they are held against the estimate.
SELECT l.object, l.phase, l.technique, l.part, sum(s.counted_hours) AS hours
FROM spells AS s JOIN lines AS l ON l.line = s.line
WHERE s.person = $person AND s.charge = 'quoted' AND s.day <= $as_of AND l.object IS NOT NULL
GROUP BY ALL
