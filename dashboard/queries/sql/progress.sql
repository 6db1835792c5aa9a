-- What was said along the way of lines, as things stood on the day $as_of: one row for each entry that says how far its line is (`done`, in per cent) or how much was treated by then (`quantity`), in order.
-- `hours` are those that the line had taken by then, `all_hours` those it has taken by the day asked about; both of what is held against the estimate; how far a line is may be said with hours that were agreed on top. The order of what was said within a day is as in
-- overruns.sql: what has no clock is said at the end of its day, and a line does not become less done.
-- Of lines that are compared under one of a whole ($members under $heads) only what was said of the whole counts, and the hours of all of them.
WITH grouped AS (
    SELECT unnest($members::INTEGER[]) AS line, unnest($heads::INTEGER[]) AS head
), entries AS (
    SELECT coalesce(g.head, s.line) AS line, CASE WHEN charge = 'quoted' THEN counted_hours ELSE 0 END AS hours, CASE WHEN charge = 'quoted' AND quantity > 0 AND g.head IS NULL THEN quantity END AS quantity,
        CASE WHEN g.head IS NULL THEN done END AS done, day, started_at, entry
    FROM spells AS s LEFT JOIN grouped AS g ON g.line = s.line WHERE charge <> 'own_cost' AND day <= $as_of
), ordered AS (
    SELECT line, hours, quantity, done, day, coalesce(3 * epoch_us(day) + epoch_us(started_at), 4 * epoch_us(day) + 172800000000) AS place, done IS NOT NULL OR coalesce(quantity > 0, false) AS says, entry
    FROM entries WHERE line IN (SELECT line FROM entries WHERE done IS NOT NULL OR quantity > 0)
), summed AS (
    SELECT line, CASE WHEN done IS NOT NULL THEN max(done) OVER so_far END AS done, quantity, day, says, sum(hours) OVER so_far AS hours, sum(quantity) OVER so_far AS treated,
        sum(hours) OVER (PARTITION BY line) AS all_hours, row_number() OVER so_far AS number
    FROM ordered WINDOW so_far AS (PARTITION BY line ORDER BY place, says, done NULLS FIRST, entry ROWS UNBOUNDED PRECEDING)
)
SELECT l.object, l.phase, l.technique, l.part, s.day::TIMESTAMP AS day, s.done::DOUBLE AS done, CASE WHEN s.quantity > 0 THEN s.treated END AS quantity, s.hours, s.all_hours,
    s.hours >= s.all_hours - 1e-9 AS last
FROM summed AS s JOIN lines AS l ON l.line = s.line
WHERE s.says AND l.object IS NOT NULL
ORDER BY l.object, l.phase, l.technique, l.part, s.number
