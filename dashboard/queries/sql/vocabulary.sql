-- Techniques with their other spellings and with what names them.
SELECT t.technique, t.phase, t.unit, t.mode, t.condition, t.cautions, t.note, t.retired_on::TIMESTAMP AS retired_on,
    coalesce(s.spellings, '') AS spellings, coalesce(u.works, 0) AS works, coalesce(u.entries, 0) AS entries, coalesce(u.estimates, 0) AS estimates
FROM techniques AS t
JOIN phases AS p ON p.phase = t.phase
LEFT JOIN (SELECT key, string_agg(written, '|' ORDER BY written) AS spellings FROM spellings JOIN techniques USING (key)
    WHERE kind = 'technique' AND written <> technique GROUP BY key) AS s ON s.key = t.key
LEFT JOIN (SELECT l.technique, count(DISTINCT l.object) AS works, sum(e.entries) AS entries, sum(v.versions) AS estimates
    FROM lines AS l LEFT JOIN (SELECT line, count(*) AS entries FROM spells GROUP BY line) AS e ON e.line = l.line
    LEFT JOIN (SELECT line, count(DISTINCT version) AS versions FROM estimated_lines GROUP BY line) AS v ON v.line = l.line GROUP BY l.technique) AS u ON u.technique = t.technique
ORDER BY p.position, t.technique
