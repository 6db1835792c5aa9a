-- What was said along the way of lines, as things stood on the day $as_of: one row for each entry that says how far its line is (`done`, in per cent) or how much was treated by then (`quantity`), in order.
-- `hours` are those that the line had taken by then, `all_hours` those it has taken by the day asked about; both of what is held against the estimate. The order of what was said within a day is as in
-- overruns.sql: what has no clock is said at the end of its day.
WITH ordered AS (
    SELECT line, counted_hours, quantity, done, day, coalesce(3 * epoch_us(day) + epoch_us(started_at), 4 * epoch_us(day) + 172800000000) AS place, done IS NOT NULL OR quantity > 0 AS says, entry
    FROM spells WHERE charge = 'quoted' AND day <= $as_of AND line IN (SELECT line FROM spells WHERE (done IS NOT NULL OR quantity > 0) AND charge = 'quoted' AND day <= $as_of)
), summed AS (
    SELECT line, done, quantity, day, says, sum(counted_hours) OVER so_far AS hours, sum(quantity) OVER so_far AS treated, sum(counted_hours) OVER (PARTITION BY line) AS all_hours,
        row_number() OVER so_far AS number, count(*) OVER (PARTITION BY line) AS entries
    FROM ordered WINDOW so_far AS (PARTITION BY line ORDER BY place, says, entry ROWS UNBOUNDED PRECEDING)
)
SELECT l.object, l.phase, l.technique, l.part, s.day::TIMESTAMP AS day, s.done::DOUBLE AS done, CASE WHEN s.quantity > 0 THEN s.treated END AS quantity, s.hours, s.all_hours, s.number = s.entries AS last
FROM summed AS s JOIN lines AS l ON l.line = s.line
WHERE s.says AND l.object IS NOT NULL
ORDER BY l.object, l.phase, l.technique, l.part, s.number
