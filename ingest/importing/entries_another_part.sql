(
    WITH yardstick AS (FROM yardsticks('infinity'::DATE)),
    estimated AS (
        SELECT DISTINCT l.object, l.phase, l.technique, l.part FROM estimated_lines AS e
        JOIN lines AS l ON l.line = e.line
        JOIN yardstick AS y ON y.object = l.object AND y.version = e.version
            AND (e.option IS NULL OR coalesce(e.option = y.option, false))
    )
    SELECT g."row", g.object, g.technique,
        string_agg(
            CASE WHEN e.part = '' THEN 'without a part' ELSE 'with part "' || e.part || '"' END,
            ', '
            ORDER BY e.part
        ) AS parts
    FROM (
        SELECT min("row") AS "row", object, phase, technique, part FROM resolved
        WHERE object IN (SELECT object FROM yardstick) AND charge = 'quoted' AND technique <> ''
            AND discovery IS DISTINCT FROM true AND {untouched}
        GROUP BY object, phase, technique, part
    ) AS g
    JOIN estimated AS e USING (object, phase, technique)
    ANTI JOIN estimated AS w ON w.object = g.object AND w.technique = ''
        AND holds(w.phase, w.technique, w.part, g.phase, g.technique, g.part)
    GROUP BY g."row", g.object, g.technique, g.part HAVING NOT bool_or(e.part = g.part)
)
