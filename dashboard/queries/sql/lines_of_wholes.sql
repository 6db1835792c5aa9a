-- The lines of works that have one of a whole phase or of the work as a whole: whether the version by which the work stands on the day $as_of has them, and whether hours held against it were spent on them.
WITH concerned AS (
    SELECT * FROM lines WHERE object IN (SELECT object FROM lines WHERE technique = '')
), estimated AS (
    SELECT DISTINCT l.line FROM concerned AS l JOIN yardsticks($as_of) AS y ON y.object = l.object
    JOIN estimated_lines AS e ON e.line = l.line AND e.version = y.version AND (e.option IS NULL OR coalesce(e.option = y.option, false))
), logged AS (
    SELECT line FROM spells WHERE charge = 'quoted' AND day <= $as_of AND line IN (SELECT line FROM concerned) GROUP BY line HAVING sum(counted_hours) > 0
)
SELECT l.line, l.object, l.phase, l.technique, l.part, e.line IS NOT NULL AS estimated, s.line IS NOT NULL AS logged
FROM concerned AS l LEFT JOIN estimated AS e ON e.line = l.line LEFT JOIN logged AS s ON s.line = l.line ORDER BY l.line
