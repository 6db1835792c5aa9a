-- The lines of one version of an estimate, in the order of work.
SELECT e.phase, e.technique, e.part, e.person, e.quantity, e.unit, e.hours, e.low_hours, e.high_hours, e.unattended_hours, e.option, e.note
FROM estimate_lines AS e LEFT JOIN phases AS p ON p.phase = e.phase
WHERE e.object = $object AND e.version = $version
ORDER BY e.option NULLS FIRST, p.position, e.phase, e.technique, e.part
