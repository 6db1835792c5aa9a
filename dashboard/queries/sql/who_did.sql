-- Who did most of each line that is under way or done on works not finished on the day $as_of, by their hours held against the estimate.
SELECT l.object, l.phase, l.technique, l.part, arg_max(s.person, s.hours) AS person
FROM (SELECT line, person, sum(counted_hours) AS hours FROM spells WHERE charge = 'quoted' AND day <= $as_of GROUP BY line, person HAVING sum(counted_hours) > 0) AS s
JOIN lines AS l ON l.line = s.line JOIN objects AS o ON o.object = l.object WHERE o.finished_on IS NULL OR o.finished_on > $as_of
GROUP BY ALL ORDER BY ALL
