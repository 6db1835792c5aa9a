-- The lines on which one person has worked, and of the hours held against the estimate that person's.
SELECT l.object, l.phase, l.technique, l.part, coalesce(sum(s.counted_hours) FILTER (s.charge = 'quoted'), 0) AS hours
FROM spells AS s JOIN lines_under($members, $heads) AS l ON l.line = s.line
WHERE s.person = $person AND s.day <= $as_of AND l.object IS NOT NULL
GROUP BY ALL
