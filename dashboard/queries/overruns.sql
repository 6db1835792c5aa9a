-- Estimated against actual hours of every line, in one pass over the entries, as things stood on the day $as_of.
-- One row a line (object, phase, technique, part). Hours are decimal hours; null is unknown, never 0.
-- The yardstick is the latest approved version; none approved: the latest made. Of options only the approved one counts.
WITH versions AS (
    SELECT object, version, approved_option, approved_on IS NOT NULL AND approved_on <= $as_of AS approved,
        row_number() OVER (PARTITION BY object ORDER BY (approved_on IS NOT NULL AND approved_on <= $as_of) DESC, version DESC) AS latest_first,
        row_number() OVER (PARTITION BY object, (approved_on IS NOT NULL AND approved_on <= $as_of) ORDER BY version) AS first_of_its_kind
    FROM estimate_versions WHERE made_on <= $as_of
), yardstick AS (
    SELECT object, version, approved, approved_option FROM versions WHERE latest_first = 1
), estimated AS (
    -- equal lines are summed; a sum with an unknown in it is unknown
    SELECT l.object, l.phase, l.technique, l.part,
        CASE WHEN count(l.hours) = count(*) THEN sum(l.hours) END AS hours,
        CASE WHEN count(l.quantity) = count(*) AND count(DISTINCT l.unit) = 1 THEN sum(l.quantity) END AS quantity,
        any_value(l.unit) AS unit
    FROM estimate_lines AS l JOIN yardstick AS y ON y.object = l.object AND y.version = l.version
    WHERE l.option IS NULL OR (y.approved AND l.option = y.approved_option)
    GROUP BY l.object, l.phase, l.technique, l.part
), first_approved AS (
    SELECT l.object, l.phase, l.technique, l.part, CASE WHEN count(l.hours) = count(*) THEN sum(l.hours) END AS hours
    FROM estimate_lines AS l JOIN versions AS v ON v.object = l.object AND v.version = l.version
    WHERE v.approved AND v.first_of_its_kind = 1 AND (l.option IS NULL OR l.option = v.approved_option)
    GROUP BY l.object, l.phase, l.technique, l.part
), worked AS (
    SELECT object, phase, technique, part,
        count(*) FILTER (charge = 'quoted') AS entries,
        coalesce(sum(counted_hours) FILTER (charge = 'quoted'), 0) AS hours,
        coalesce(sum(counted_hours) FILTER (charge = 'extra'), 0) AS extra_hours,
        coalesce(sum(counted_hours) FILTER (charge = 'own_cost'), 0) AS own_cost_hours,
        coalesce(sum(hours) FILTER (mode = 'unattended'), 0) AS unattended_hours,
        sum(quantity) FILTER (charge = 'quoted') AS quantity,
        min(unit) AS unit, max(unit) AS other_unit,
        max(day) FILTER (charge <> 'own_cost') AS last_day,
        coalesce(bool_or(discovery), false) AS discovery,
        max(done) AS done,
        -- for "done stood below 100 at the last quantity"; without a clock the order within a day is given the benefit of the doubt
        max(coalesce(started_at, day + INTERVAL 1 DAY)) FILTER (quantity IS NOT NULL) AS last_quantity_at,
        min(coalesce(started_at, day)) FILTER (done IS NOT NULL) AS first_done_at,
        min(coalesce(started_at, day)) FILTER (done >= 100) AS all_done_at
    FROM time_entries
    WHERE object IS NOT NULL AND day <= $as_of
    GROUP BY object, phase, technique, part
), milestones_past AS (
    SELECT object, phase, technique, part, max(finished_on) AS finished_on FROM milestones WHERE finished_on <= $as_of
    GROUP BY object, phase, technique, part
), lines AS (
    SELECT coalesce(e.object, w.object) AS object, coalesce(e.phase, w.phase) AS phase, coalesce(e.technique, w.technique) AS technique,
        coalesce(e.part, w.part) AS part,
        e.object IS NOT NULL AS in_estimate, e.hours AS estimated_hours, e.quantity AS estimated_quantity, coalesce(e.unit, w.unit) AS unit,
        coalesce(w.entries, 0) AS entries, coalesce(w.hours, 0) AS actual_hours, coalesce(w.extra_hours, 0) AS extra_hours,
        coalesce(w.own_cost_hours, 0) AS own_cost_hours, coalesce(w.unattended_hours, 0) AS unattended_hours,
        CASE WHEN w.unit = w.other_unit AND (e.unit IS NULL OR w.unit = e.unit) THEN w.quantity END AS actual_quantity,
        coalesce(w.all_done_at > w.last_quantity_at, w.first_done_at <= w.last_quantity_at AND w.all_done_at IS NULL, false) AS quantity_incomplete,
        w.done, coalesce(w.discovery, false) AS discovery, w.last_day
    FROM estimated AS e FULL JOIN worked AS w
        ON w.object = e.object AND w.phase = e.phase AND w.technique = e.technique AND w.part = e.part
), closed AS (
    SELECT l.*, f.hours AS first_approved_hours,
        CASE WHEN y.object IS NULL THEN 'none' WHEN y.approved THEN 'approved' ELSE 'made' END AS yardstick,
        greatest(own.finished_on, whole.finished_on, CASE WHEN l.part <> '' THEN whole_part.finished_on END, CASE WHEN o.finished_on <= $as_of THEN o.finished_on END) AS closed_on
    FROM lines AS l
    JOIN objects AS o ON o.object = l.object
    LEFT JOIN yardstick AS y ON y.object = l.object
    LEFT JOIN first_approved AS f ON f.object = l.object AND f.phase = l.phase AND f.technique = l.technique AND f.part = l.part
    LEFT JOIN milestones_past AS own ON own.object = l.object AND own.phase = l.phase AND own.technique = l.technique AND own.part = l.part
    LEFT JOIN milestones_past AS whole ON whole.object = l.object AND whole.phase = l.phase AND whole.technique = '' AND whole.part = ''
    LEFT JOIN milestones_past AS whole_part ON whole_part.object = l.object AND whole_part.phase = l.phase AND whole_part.technique = '' AND whole_part.part = l.part
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
    s.yardstick, s.extra_hours, s.own_cost_hours, s.unattended_hours, s.unit, s.estimated_quantity, s.actual_quantity, s.quantity_incomplete,
    s.done, s.discovery, s.entries, p.position
FROM split AS s LEFT JOIN phases AS p ON p.phase = s.phase
ORDER BY s.object, p.position, s.phase, s.technique, s.part
