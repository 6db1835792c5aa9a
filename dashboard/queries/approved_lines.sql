-- The lines of the latest approved version of each work, as things stood on the day $as_of; equal lines are summed, a sum with an unknown in it is unknown. Of options only the one approved.
WITH latest AS (
    SELECT v.object, max(v.version) AS version FROM estimate_versions AS v
    ANTI JOIN (SELECT object, version FROM ended_versions WHERE ended_on <= $as_of) AS x ON x.object = v.object AND x.version = v.version
    WHERE v.made_on <= $as_of AND v.approved_on <= $as_of GROUP BY v.object
)
SELECT e.object, e.phase, e.technique, e.part, CASE WHEN count(e.hours) = count(*) THEN sum(e.hours) END AS hours, CASE WHEN count(e.quantity) = count(*) THEN sum(e.quantity) END AS quantity,
    CASE WHEN count(e.person) = count(*) AND min(e.person) = max(e.person) THEN min(e.person) ELSE '' END AS person, sum(e.unattended_hours) AS unattended_hours, coalesce(string_agg(e.note, '; ' ORDER BY e.note), '') AS note
FROM latest AS l JOIN estimate_versions AS v ON v.object = l.object AND v.version = l.version
JOIN estimate_lines AS e ON e.object = l.object AND e.version = l.version AND (e.option IS NULL OR e.option = v.approved_option)
LEFT JOIN phases AS p ON p.phase = e.phase
GROUP BY e.object, e.phase, e.technique, e.part, p.position ORDER BY e.object, p.position, e.phase, e.technique, e.part
