-- Hours from the day $first to the day $last by month and what they were: chargeable (held against estimates, or agreed on top), own_cost, studio (on no object, by technique or what else its line is called). What waits alone is no hours, and works told from memory are apart.
SELECT date_trunc('month', s.day)::TIMESTAMP AS month, CASE WHEN l.object IS NULL THEN 'studio' WHEN s.charge = 'own_cost' THEN 'own_cost' ELSE 'chargeable' END AS what,
    CASE WHEN l.object IS NULL THEN line_name(l.phase, l.technique) ELSE '' END AS line, sum(s.counted_hours) AS hours
FROM spells AS s JOIN lines AS l ON l.line = s.line LEFT JOIN objects AS o ON o.object = l.object
WHERE s.day BETWEEN $first AND $last AND o.remembered IS DISTINCT FROM true GROUP BY ALL HAVING sum(s.counted_hours) > 0 ORDER BY ALL
