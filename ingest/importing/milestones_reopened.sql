(
    WITH worked AS (
        SELECT l.line, any_value(l.object) AS object, any_value(l.phase) AS phase,
            any_value(l.technique) AS technique, any_value(l.part) AS part, max(s.day) AS last_day
        FROM lines AS l JOIN spells AS s ON s.line = l.line
        WHERE l.object IN (SELECT object FROM resolved) AND s.charge <> 'own_cost' GROUP BY l.line
    ),
    reached AS (
        SELECT object, phase, technique, part, finished_on FROM milestones
        UNION ALL
        SELECT object, phase, technique, part, finished_on FROM resolved
    ),
    still_open AS (
        SELECT * FROM worked AS l
        WHERE NOT EXISTS (FROM reached AS m WHERE {reaches} AND m.finished_on >= l.last_day)
            AND NOT EXISTS (
                FROM objects AS o WHERE o.object = l.object AND o.finished_on >= l.last_day
            )
    )
    SELECT m."row", count(*) AS opened, max(l.last_day) AS last_day FROM resolved AS m
    JOIN still_open AS l ON {reaches}
    WHERE {untouched_m} GROUP BY m."row"
)
