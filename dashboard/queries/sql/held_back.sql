-- Rows that wait for a word: each beside the entry that it resembles.
SELECT b.content::VARCHAR AS content, b.rank, b.file, b.line, b.noticed_at,
    b.said->>'object' AS object, b.said->>'technique' AS technique, b.said->>'person' AS person, b.said->>'day' AS day,
    b.said->>'phase' AS phase, b.said->>'part' AS part, b.said->>'mode' AS mode, (b.said->>'hours')::DOUBLE AS hours, (b.said->>'quantity')::DOUBLE AS quantity, b.said->>'unit' AS unit, b.said->>'note' AS note,
    e.object AS held_object, e.technique AS held_technique, e.phase AS held_phase, e.part AS held_part, e.mode AS held_mode, e.hours AS held_hours, e.quantity AS held_quantity, e.note AS held_note, e.entry IS NOT NULL AS is_held
FROM held_back AS b LEFT JOIN time_entries AS e ON e.entry = b.resembles
WHERE b.decided IS NULL
ORDER BY b.noticed_at, b.file, b.line
