-- What was logged on each line that can teach, before the day $before: by person, and whether it was agreed on top. Own cost never teaches; but a line's first entry may be one, and what was estimated after it is no yardstick.
-- One row a day where $by_day, so that any earlier day can be told from it; else one for all days.
-- Days are days since 1970. The order of what was said within a day is as in overruns.sql.
SELECT s.line, s.person, s.charge = 'extra' AS extra, CASE WHEN $by_day THEN s.day - DATE '1970-01-01' ELSE 0 END AS day,
    coalesce(sum(s.counted_hours) FILTER (s.charge <> 'own_cost'), 0) AS hours, sum(s.quantity) FILTER (s.charge <> 'own_cost') AS quantity,
    min(s.day) - DATE '1970-01-01' AS first_day, max(s.day) FILTER (s.charge <> 'own_cost') - DATE '1970-01-01' AS last_day,
    max(coalesce(3 * epoch_us(s.day) + epoch_us(s.started_at), 4 * epoch_us(s.day) + 172800000000)) FILTER (s.quantity IS NOT NULL AND s.charge = 'quoted') AS last_quantity_at,
    min(coalesce(3 * epoch_us(s.day) + epoch_us(s.started_at), 4 * epoch_us(s.day) - 86400000000)) FILTER (s.done IS NOT NULL AND s.charge <> 'own_cost') AS first_done_at,
    min(coalesce(3 * epoch_us(s.day) + epoch_us(s.started_at), 4 * epoch_us(s.day) - 86400000000)) FILTER (s.done >= 100 AND s.charge <> 'own_cost') AS all_done_at
FROM spells AS s
WHERE s.day < $before
GROUP BY ALL
ORDER BY s.line, extra, s.person, day
