-- The dated hours of one object, for a treatment report: one row a day, phase, technique, part and charge. No person is named.
SELECT e.day, p.position, e.phase, e.technique, e.part, e.charge,
    sum(e.counted_hours) AS hours,
    sum(CASE WHEN e.mode = 'unattended' THEN e.hours ELSE 0 END) AS unattended_hours,
    sum(e.quantity) AS quantity, any_value(e.unit) AS unit,
    string_agg(e.note, '; ' ORDER BY e.started_at, e.note) AS note
FROM time_entries AS e LEFT JOIN phases AS p ON p.phase = e.phase
WHERE e.object = $object AND e.day <= $as_of
GROUP BY e.day, p.position, e.phase, e.technique, e.part, e.charge
ORDER BY e.day, p.position, e.phase, e.technique, e.part, e.charge
