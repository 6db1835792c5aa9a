-- Estimated against actual hours of every line, in one statement, as things stood on the day $as_of.
-- One row a line (object, phase, technique, part). Hours are decimal hours; null is unknown, never 0.
-- Which version is the yardstick, and of its options which one counts, is told by `yardsticks` (a macro of the schema).
-- Lines that cannot be compared apart are one row: $members are such lines, $heads the line under which each is compared (dashboard/analysis/data/levels.py).
-- What is rare (other charges, waiting, progress, discoveries) is gathered apart by its own narrow scan, so that the pass over all spells adds up few columns.
WITH versions AS (
    FROM yardsticks($as_of)
), grouped AS (
    SELECT unnest($members::INTEGER[]) AS line, unnest($heads::INTEGER[]) AS head
), told AS (
    SELECT coalesce(g.head, e.line) AS line, e.line AS estimated_line, e.hours, e.quantity, e.unit,
        e.version = v.version AND (e.option IS NULL OR coalesce(e.option = v.option, false)) AS in_yardstick,
        coalesce(e.version = v.first_version, false) AND (e.option IS NULL OR coalesce(e.option = v.first_option, false)) AS in_first
    FROM estimated_lines AS e JOIN lines AS l ON l.line = e.line JOIN versions AS v ON v.object = l.object LEFT JOIN grouped AS g ON g.line = e.line
), estimated AS (
    -- equal lines are summed; a sum with an unknown in it is unknown
    SELECT line, coalesce(bool_or(in_yardstick), false) AS in_estimate,
        CASE WHEN count(hours) FILTER (in_yardstick) = count(*) FILTER (in_yardstick) THEN sum(hours) FILTER (in_yardstick) END AS hours,
        CASE WHEN count(quantity) FILTER (in_yardstick) = count(*) FILTER (in_yardstick) AND min(unit) FILTER (in_yardstick) = max(unit) FILTER (in_yardstick)
            THEN sum(quantity) FILTER (in_yardstick) END AS quantity,
        any_value(unit) FILTER (in_yardstick) AS unit,
        CASE WHEN count(hours) FILTER (in_first) = count(*) FILTER (in_first) THEN sum(hours) FILTER (in_first) END AS first_hours
    FROM told WHERE in_yardstick OR in_first GROUP BY line
), spent AS (
    SELECT line, sum(counted_hours) AS hours, sum(quantity) AS quantity, count(*) AS entries, max(day) AS last_day,
        -- For "done stood below 100 at the last quantity": a number that orders by the studio's day first, within it by the clock. Days weigh four times, as an
        -- instant in UTC may lie up to 14 hours before or after its day. Without a clock the order within the day is given the benefit of the doubt.
        max(coalesce(3 * epoch_us(day) + epoch_us(started_at), 4 * epoch_us(day) + 172800000000)) FILTER (quantity IS NOT NULL) AS last_quantity_at
    FROM spells WHERE charge = 'quoted' AND day <= $as_of GROUP BY line
), worked AS (
    SELECT coalesce(g.head, w.line) AS line, sum(w.hours) AS hours, sum(w.quantity) AS quantity, sum(w.entries)::BIGINT AS entries, max(w.last_day) AS last_day, max(w.last_quantity_at) AS last_quantity_at
    FROM spent AS w LEFT JOIN grouped AS g ON g.line = w.line GROUP BY ALL
), apart AS (
    SELECT coalesce(g.head, s.line) AS line, sum(counted_hours) FILTER (charge = 'extra') AS extra_hours, sum(counted_hours) FILTER (charge = 'own_cost') AS own_cost_hours,
        max(day) FILTER (charge = 'extra') AS last_day, sum(hours) FILTER (mode = 'unattended') AS unattended_hours
    FROM spells AS s LEFT JOIN grouped AS g ON g.line = s.line WHERE (charge <> 'quoted' OR mode = 'unattended') AND day <= $as_of GROUP BY ALL
), progress AS (
    -- how far a technique is says nothing of how far its phase is
    SELECT coalesce(g.head, s.line) AS line, max(done) FILTER (charge <> 'own_cost' AND g.head IS NULL) AS done, bool_or(discovery) AS discovery,
        min(coalesce(3 * epoch_us(day) + epoch_us(started_at), 4 * epoch_us(day) - 86400000000)) FILTER (done IS NOT NULL AND charge <> 'own_cost') AS first_done_at,
        min(coalesce(3 * epoch_us(day) + epoch_us(started_at), 4 * epoch_us(day) - 86400000000)) FILTER (done >= 100 AND charge <> 'own_cost') AS all_done_at
    FROM spells AS s LEFT JOIN grouped AS g ON g.line = s.line WHERE (done IS NOT NULL OR discovery) AND day <= $as_of GROUP BY ALL
), reached AS (
    -- a line's own milestone, or its phase's: of that part, or of all; or its work's
    SELECT l.line, max(m.finished_on) AS finished_on, list(m.finished_on) AS days
    FROM milestones AS m JOIN lines AS l ON l.object = m.object AND holds(m.phase, m.technique, m.part, l.phase, l.technique, l.part)
    WHERE m.finished_on <= $as_of GROUP BY l.line
), closings AS (
    -- a head that is not estimated itself is finished once all that is estimated under it is: the days of each of them
    SELECT e.line, CASE WHEN count(r.line) = count(*) THEN min(r.finished_on) END AS finished_on, list(coalesce(r.days, [])) AS each
    FROM (SELECT DISTINCT line, estimated_line FROM told WHERE in_yardstick) AS e LEFT JOIN reached AS r ON r.line = e.estimated_line
    GROUP BY e.line HAVING bool_and(e.line <> e.estimated_line)
), closed AS (
    SELECT l.line, l.object, l.phase, l.technique, l.part,
        coalesce(e.in_estimate, false) AS in_estimate, e.hours AS estimated_hours, CASE WHEN l.technique <> '' THEN e.quantity END AS estimated_quantity, CASE WHEN l.technique <> '' THEN coalesce(e.unit, t.unit) END AS unit,
        e.first_hours AS first_approved_hours, CASE WHEN v.object IS NULL THEN 'none' WHEN v.approved THEN 'approved' ELSE 'made' END AS yardstick, v.version AS yardstick_version,
        coalesce(w.entries, 0) AS entries, coalesce(w.hours, 0) AS actual_hours, coalesce(a.extra_hours, 0) AS extra_hours,
        coalesce(a.own_cost_hours, 0) AS own_cost_hours, coalesce(a.unattended_hours, 0) AS unattended_hours,
        CASE WHEN l.technique <> '' AND (e.unit IS NULL OR e.unit = t.unit) THEN w.quantity END AS actual_quantity,  -- a measured entry has its technique's unit
        coalesce(d.all_done_at > w.last_quantity_at, d.first_done_at <= w.last_quantity_at AND d.all_done_at IS NULL, false) AS quantity_incomplete,
        d.done, coalesce(d.discovery, false) AS discovery, greatest(w.last_day, a.last_day) AS last_day, p.position,
        CASE WHEN o.finished_on <= $as_of THEN o.finished_on END AS object_finished_on, CASE WHEN c.line IS NULL THEN [m.days] ELSE c.each END AS each, greatest(CASE WHEN c.line IS NULL THEN m.finished_on ELSE c.finished_on END, object_finished_on) AS closed_on
    FROM lines AS l
    JOIN objects AS o ON o.object = l.object
    LEFT JOIN phases AS p ON p.phase = l.phase
    LEFT JOIN techniques AS t ON t.technique = l.technique
    LEFT JOIN versions AS v ON v.object = l.object
    LEFT JOIN estimated AS e ON e.line = l.line
    LEFT JOIN worked AS w ON w.line = l.line
    LEFT JOIN apart AS a ON a.line = l.line
    LEFT JOIN progress AS d ON d.line = l.line
    LEFT JOIN reached AS m ON m.line = l.line
    LEFT JOIN closings AS c ON c.line = l.line
    WHERE e.line IS NOT NULL OR w.line IS NOT NULL OR a.line IS NOT NULL  -- a line of the first approved version alone is shown too
), judged AS (
    SELECT *, closed_on IS NOT NULL AND (last_day IS NULL OR last_day <= closed_on) AS finished,
        estimated_quantity > 0 AND actual_quantity > 0 AND estimated_hours > 0 AND actual_hours > 0 AND NOT quantity_incomplete AS comparable
    FROM closed
), split AS (
    SELECT *,
        CASE WHEN in_estimate AND estimated_hours IS NULL THEN NULL
            WHEN finished AND comparable THEN (actual_quantity - estimated_quantity) * estimated_hours / estimated_quantity
            ELSE 0 END AS more_to_do_hours,
        CASE WHEN in_estimate AND estimated_hours IS NULL THEN NULL
            WHEN NOT in_estimate OR (finished AND entries = 0) THEN 0
            WHEN finished AND comparable THEN (actual_hours / actual_quantity - estimated_hours / estimated_quantity) * actual_quantity
            WHEN finished THEN actual_hours - estimated_hours
            ELSE greatest(0, actual_hours - estimated_hours) END AS slower_hours,
        CASE WHEN in_estimate AND estimated_hours IS NULL THEN NULL WHEN in_estimate THEN 0 ELSE actual_hours END AS unforeseen_hours,
        CASE WHEN in_estimate AND estimated_hours IS NULL THEN NULL WHEN in_estimate AND finished AND entries = 0 THEN -estimated_hours ELSE 0 END AS not_needed_hours
    FROM judged
)
SELECT s.object, s.phase, s.technique, s.part, s.estimated_hours, s.first_approved_hours, s.actual_hours,
    s.more_to_do_hours + s.slower_hours + s.unforeseen_hours + s.not_needed_hours AS difference_hours,
    s.more_to_do_hours, s.slower_hours, s.unforeseen_hours, s.not_needed_hours, s.finished,
    s.yardstick, s.yardstick_version, s.extra_hours, s.own_cost_hours, s.unattended_hours, s.unit, s.estimated_quantity, s.actual_quantity, s.quantity_incomplete,
    s.done, s.discovery, s.entries, s.position, level_of(s.phase, s.technique, s.part) AS level,
    -- finished by whichever came first after its last entry
    CASE WHEN s.finished THEN list_max(list_transform(s.each, lambda days: list_min(list_filter(list_append(days, s.object_finished_on), lambda d: d >= coalesce(s.last_day, d))))) END::TIMESTAMP AS finished_on, s.last_day::TIMESTAMP AS last_day
FROM split AS s
ORDER BY s.object, s.position, s.phase, s.technique, s.part
