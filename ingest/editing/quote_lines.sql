-- equal lines are summed, as those of an estimate are; a sum with an unknown in it is unknown
SELECT min(l.line) AS number, list(l.line ORDER BY l.line) AS every, e.phase, e.technique, e.part,
    coalesce(e.option, '') AS option,
    CASE WHEN count(e.person) = count(*) AND min(e.person) = max(e.person) THEN min(e.person)
        ELSE '' END AS person,
    CASE WHEN count(e.quantity) = count(*) THEN sum(e.quantity) END AS quantity,
    coalesce(any_value(t.unit), '') AS unit, any_value(t.condition) AS condition,
    CASE WHEN count(e.hours) = count(*) THEN sum(e.hours) END AS hours,
    CASE WHEN count(e.low_hours) = count(*) THEN sum(e.low_hours) END AS low_hours,
    CASE WHEN count(e.high_hours) = count(*) THEN sum(e.high_hours) END AS high_hours,
    CASE WHEN count(e.unattended_hours) = count(*) THEN sum(e.unattended_hours) END AS unattended_hours,
    coalesce(string_agg(e.note, '; ' ORDER BY l.line), '') AS note
FROM resolved AS e JOIN row_lines AS l USING ("row")
LEFT JOIN phases AS p ON p.phase = e.phase LEFT JOIN techniques AS t ON t.technique = e.technique
WHERE NOT list_contains(?::BIGINT[], l.line)
GROUP BY e.phase, e.technique, e.part, e.option ORDER BY min(p.position), e.phase, min(l.line)
