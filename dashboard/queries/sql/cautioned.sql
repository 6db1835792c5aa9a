-- Time entries of one person from the day $since to the day $as_of on techniques that carry a caution; clock times in UTC and on the clock of the zone $zone. What waits alone is nobody's work, and a total of several days says nothing of any of them.
SELECT s.day::TIMESTAMP AS day, s.started_at, s.ended_at, timezone($zone, timezone('UTC', s.started_at)) AS begins, timezone($zone, timezone('UTC', s.ended_at)) AS ends,
    l.technique, t.cautions, s.mode, s.hours, s.counted_hours
FROM spells AS s JOIN lines AS l ON l.line = s.line JOIN techniques AS t ON t.technique = l.technique
WHERE s.person = $person AND s.day BETWEEN $since AND $as_of AND t.cautions IS NOT NULL AND s.mode <> 'unattended' AND s.total IS NULL
ORDER BY s.day, s.started_at, l.technique, s.entry
