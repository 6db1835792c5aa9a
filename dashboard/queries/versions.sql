-- The versions of one object's estimate, with the hours of the lines that count: while no option is approved one row for each, with the lines without option;
-- else those of the one approved.
WITH choices AS (
    SELECT v.version, unnest(coalesce(
        CASE WHEN v.approved_on IS NULL THEN (SELECT list(DISTINCT e.option ORDER BY e.option) FROM estimate_lines AS e WHERE e.object = v.object AND e.version = v.version AND e.option IS NOT NULL) END,
        [v.approved_option])) AS option
    FROM estimate_versions AS v WHERE v.object = $object
)
SELECT v.version, c.option, v.made_on::TIMESTAMP AS made_on, v.approved_on::TIMESTAMP AS approved_on, v.reason, v.price, v.currency,
    count(e.line) AS lines, sum(e.hours) AS hours, sum(coalesce(e.low_hours, e.hours)) AS low_hours, sum(coalesce(e.high_hours, e.hours)) AS high_hours,
    sum(e.unattended_hours) AS unattended_hours, count(e.line) FILTER (e.hours IS NULL) AS unpriced
FROM choices AS c JOIN estimate_versions AS v ON v.object = $object AND v.version = c.version
LEFT JOIN estimate_lines AS e ON e.object = v.object AND e.version = v.version AND (e.option IS NULL OR e.option = c.option)
GROUP BY ALL
ORDER BY v.version, c.option
