-- Phases with what names them.
SELECT p.phase, p.position, p.note, p.retired_on::TIMESTAMP AS retired_on,
    (SELECT count(*) FROM techniques AS t WHERE t.phase = p.phase) AS techniques,
    (SELECT count(DISTINCT l.object) FROM lines AS l WHERE l.phase = p.phase) AS works,
    (SELECT count(*) FROM time_entries AS e WHERE e.phase = p.phase) AS entries
FROM phases AS p ORDER BY p.position, p.phase
