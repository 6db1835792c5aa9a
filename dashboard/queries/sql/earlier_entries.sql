-- What entries of one object said before they were changed, the latest change first.
SELECT h.key AS entry, h.changed_at, h.changed_by, h.event, h.reason, h.earlier->>'day' AS day, h.earlier->>'technique' AS technique, h.earlier->>'phase' AS phase,
    h.earlier->>'part' AS part, h.earlier->>'person' AS person, (h.earlier->>'hours')::DOUBLE AS hours, h.earlier->>'mode' AS mode, h.earlier->>'charge' AS charge,
    (h.earlier->>'quantity')::DOUBLE AS quantity, h.earlier->>'unit' AS unit, h.earlier->>'note' AS note,
    NOT EXISTS (FROM spells AS s WHERE s.entry = h.key) AND h.number = (SELECT max(l.number) FROM history AS l WHERE l.kind = 'time_entries' AND l.key = h.key) AS taken_back
FROM history AS h
WHERE h.kind = 'time_entries' AND h.earlier->>'object' = $object
ORDER BY h.number DESC
