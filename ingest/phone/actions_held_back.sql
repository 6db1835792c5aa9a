WITH shown AS (
    SELECT a.action, a.entry, a.device, d.name, a.received_at, a.number, a.said, o.told
    FROM phone_outcomes AS o JOIN phone_actions AS a ON a.action = o.action
    LEFT JOIN devices AS d ON d.device = a.device
    WHERE o.outcome = 'held back' AND coalesce(a.device = $device, true)
    ORDER BY a.received_at, a.number, a.action LIMIT $most
),
entries AS (
    SELECT {spell_of_entry} AS spell, * FROM time_entries
    WHERE {spell_of_entry} IN (SELECT {spell_of_entry} FROM shown)
)
SELECT s.action, s.device, s.name, s.received_at, s.said, s.told, s.number,
    list(to_json(e) ORDER BY e.entry) FILTER (e.entry IS NOT NULL)
FROM shown AS s
LEFT JOIN entries AS e ON e.entry = s.entry OR (e.spell = s.entry AND e.entry <> s.entry)
GROUP BY ALL ORDER BY s.received_at, s.number, s.action
