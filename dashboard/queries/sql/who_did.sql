-- Who did most of each line that is under way or done on works not finished on the day $as_of, by their hours held against the estimate.
SELECT object, phase, technique, part, arg_max(person, hours) AS person
FROM (
    SELECT l.object, l.phase, l.technique, l.part, s.person, sum(s.hours) AS hours
    FROM (SELECT line, person, sum(counted_hours) AS hours FROM spells WHERE charge = 'quoted' AND day <= $as_of GROUP BY line, person HAVING sum(counted_hours) > 0) AS s
    JOIN lines_under($members, $heads) AS l ON l.line = s.line JOIN objects AS o ON o.object = l.object WHERE o.finished_on IS NULL OR o.finished_on > $as_of
    GROUP BY ALL
)
GROUP BY object, phase, technique, part ORDER BY ALL
