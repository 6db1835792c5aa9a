-- Hours of each person of the studio on works in the $weeks whole weeks (Monday to Sunday) up to the day $as_of, held against estimates or agreed on top; weeks in which nothing was logged are not there, nor are totals of several days.
SELECT s.person, date_trunc('week', s.day)::TIMESTAMP AS week, sum(s.counted_hours) AS hours
FROM spells AS s JOIN people AS p ON p.person = s.person
WHERE s.charge <> 'own_cost' AND s.total IS NULL AND (p.left_on IS NULL OR p.left_on > $as_of)
    AND s.day >= date_trunc('week', $as_of + 1) - to_weeks($weeks::INTEGER) AND s.day < date_trunc('week', $as_of + 1)
    AND s.line IN (SELECT line FROM lines WHERE object IS NOT NULL)
GROUP BY ALL HAVING sum(s.counted_hours) > 0 ORDER BY ALL
