-- The lines of one saved quote as they were told, in the order in which they stood; hours: as they stand in the version, in tenths that sum to its promise but for what may turn up.
WITH of_version AS (
    SELECT coalesce(option, '') AS option, phase, technique, part, sum(hours) AS hours FROM estimate_lines WHERE object = $object AND version = $version GROUP BY ALL
)
SELECT nullif(l.option, '') AS option, l.phase, l.technique, l.part, l.p50, l.p80, l.p90, l.promised_hours, l.own_hours, l.worked_hours, l.rate, l.rate_low, l.rate_high, l.unit, l.pinned, l.works::VARCHAR[] AS works,
    coalesce(v.hours * l.promised_hours / nullif(sum(l.promised_hours) OVER (PARTITION BY l.option, l.phase, l.technique, l.part), 0), l.promised_hours) AS hours
FROM quoted_lines AS l LEFT JOIN of_version AS v USING (option, phase, technique, part) WHERE l.object = $object AND l.version = $version ORDER BY l.option, l.place
