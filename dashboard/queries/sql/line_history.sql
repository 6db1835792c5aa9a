-- What each version of one object's estimate, made by the day $as_of, said of each line, the first version first.
SELECT e.phase, e.technique, e.part, e.version, e.option, v.made_on::VARCHAR AS made_on, CASE WHEN v.approved_on <= $as_of AND (e.option IS NULL OR e.option = v.approved_option) THEN v.approved_on::VARCHAR END AS approved_on, x.outcome, e.hours, e.quantity, q.worked_hours
FROM estimate_lines AS e JOIN estimate_versions AS v ON v.object = e.object AND v.version = e.version
LEFT JOIN ended_versions AS x ON x.object = e.object AND x.version = e.version AND x.ended_on <= $as_of
LEFT JOIN (SELECT object, version, option, phase, technique, part, max(worked_hours) AS worked_hours FROM quoted_lines GROUP BY ALL) AS q ON q.object = e.object AND q.version = e.version AND q.option = coalesce(e.option, '') AND q.phase = e.phase AND q.technique = e.technique AND q.part = e.part
WHERE e.object = $object AND v.made_on <= $as_of ORDER BY e.phase, e.technique, e.part, e.version, e.option
