SELECT t.technique, t.phase, t.unit, t.mode, t.cautions, s.written AS aliases, u.hours AS usual_hours
FROM techniques AS t JOIN phases AS p USING (phase)
LEFT JOIN (
    SELECT key, list(written ORDER BY written) AS written FROM spellings WHERE kind = 'technique' GROUP BY key
) AS s ON s.key = t.key
LEFT JOIN (  -- how long a spell of it usually is here, where that can be told
    SELECT l.technique, median(s.hours) AS hours FROM spells AS s JOIN lines AS l ON l.line = s.line
    WHERE s.mode <> 'unattended' AND s.started_at >= $now - INTERVAL 400 DAYS
    GROUP BY l.technique HAVING count(*) >= 3
) AS u ON u.technique = t.technique
WHERE t.retired_on IS NULL AND p.retired_on IS NULL ORDER BY p.position, t.technique
