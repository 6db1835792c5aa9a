-- What the estimates of works on the bench say of each line beside its hours: waiting that was planned (null: nobody said), and who is to do it (null: nobody in particular, or several).
-- Of the works $objects, by the version by which each stands on the day $as_of.
SELECT l.object, l.phase, l.technique, l.part, sum(e.unattended_hours) AS planned_wait_hours, CASE WHEN count(e.person) = count(*) AND min(e.person) = max(e.person) THEN min(e.person) END AS person
FROM yardsticks($as_of) AS y JOIN lines_under($members, $heads) AS l ON l.object = y.object
JOIN estimated_lines AS e ON e.line = l.line AND e.version = y.version AND (e.option IS NULL OR e.option = y.option)
WHERE list_contains($objects::VARCHAR[], y.object)
GROUP BY ALL ORDER BY ALL
