-- The lines of one version of an estimate, in the order of work, with hours only where they are a figure of who made it.
SELECT l.phase, l.technique, l.part, e.person, e.quantity, e.unit, CASE WHEN NOT e.taken_over THEN e.hours END AS hours, e.low_hours, e.high_hours, e.unattended_hours, e.option, e.note
FROM own_figures AS e JOIN lines AS l ON l.line = e.line LEFT JOIN phases AS p ON p.phase = l.phase
WHERE l.object = $object AND e.version = $version
ORDER BY e.option NULLS FIRST, p.position, l.phase, l.technique, l.part
