-- What the estimates of works on the bench say of each line beside its hours: waiting that was planned (null: nobody said), and who is to do it (null: nobody in particular, or several).
-- $objects and $versions: the works, and of each the version that is its yardstick. Of options only the approved one counts.
SELECT l.object, l.phase, l.technique, l.part, sum(e.unattended_hours) AS planned_wait_hours, CASE WHEN count(e.person) = count(*) AND min(e.person) = max(e.person) THEN min(e.person) END AS person
FROM (SELECT unnest($objects::VARCHAR[]) AS object, unnest($versions::INTEGER[]) AS version) AS y
JOIN estimate_versions AS v ON v.object = y.object AND v.version = y.version
JOIN lines AS l ON l.object = y.object
JOIN estimated_lines AS e ON e.line = l.line AND e.version = y.version AND (e.option IS NULL OR e.option = v.approved_option)
GROUP BY ALL ORDER BY ALL
