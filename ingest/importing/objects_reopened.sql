(
    WITH worked AS (
        SELECT l.object, l.line, max(s.day) AS last_day FROM lines AS l
        JOIN spells AS s ON s.line = l.line
        WHERE l.object IN (SELECT object FROM resolved WHERE finished_on IS NOT NULL)
            AND s.charge <> 'own_cost'
        GROUP BY ALL
    )
    SELECT r."row", count(*) AS opened, max(w.last_day) AS last_day FROM resolved AS r
    JOIN worked AS w ON w.object = r.object AND w.last_day > r.finished_on
    LEFT JOIN objects AS o ON o.object = r.object
    WHERE o.finished_on IS DISTINCT FROM r.finished_on GROUP BY r."row"
)
