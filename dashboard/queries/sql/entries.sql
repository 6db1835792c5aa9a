-- The time entries of one object, each with how often it was corrected; clock times are those of the studio's zone $zone.
SELECT e.*, timezone($zone, timezone('UTC', e.started_at)) AS begins, timezone($zone, timezone('UTC', e.ended_at)) AS ends, coalesce(h.times, 0) AS corrected
FROM time_entries AS e
LEFT JOIN phases AS p ON p.phase = e.phase
LEFT JOIN (SELECT key, count(*) AS times FROM history WHERE kind = 'time_entries' AND event IN ('corrected', 'brought in') GROUP BY key) AS h ON h.key = e.entry
WHERE e.object = $object AND e.day <= $as_of
ORDER BY e.day, e.started_at, p.position, e.technique, e.entry
