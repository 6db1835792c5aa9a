-- The lines of the latest approved version of each work, as things stood on the day $as_of; equal lines are summed, a sum with an unknown in it is unknown. Of options only the one approved.
SELECT e.object, e.phase, e.technique, e.part, CASE WHEN count(e.hours) = count(*) THEN sum(e.hours) END AS hours, CASE WHEN count(e.quantity) = count(*) THEN sum(e.quantity) END AS quantity,
    CASE WHEN count(e.person) = count(*) AND min(e.person) = max(e.person) THEN min(e.person) ELSE '' END AS person, sum(e.unattended_hours) AS unattended_hours, coalesce(string_agg(e.note, '; ' ORDER BY e.note), '') AS note
FROM yardsticks($as_of) AS y JOIN estimate_lines AS e ON y.approved AND e.object = y.object AND e.version = y.version AND (e.option IS NULL OR e.option = y.option)
LEFT JOIN phases AS p ON p.phase = e.phase
GROUP BY e.object, e.phase, e.technique, e.part, p.position ORDER BY e.object, p.position, e.phase, e.technique, e.part
