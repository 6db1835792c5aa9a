-- The versions of one object's estimate, with the hours of the lines that count (of options, those of the one approved, or all).
SELECT v.version, v.made_on::TIMESTAMP AS made_on, v.approved_on::TIMESTAMP AS approved_on, v.approved_option, v.reason, v.price, v.currency,
    count(e.line) AS lines, sum(e.hours) AS hours, sum(coalesce(e.low_hours, e.hours)) AS low_hours,
    sum(coalesce(e.high_hours, e.hours)) AS high_hours, sum(e.unattended_hours) AS unattended_hours,
    list(DISTINCT e.option) FILTER (e.option IS NOT NULL) AS options
FROM estimate_versions AS v
LEFT JOIN estimate_lines AS e ON e.object = v.object AND e.version = v.version
    AND (v.approved_on IS NULL OR e.option IS NULL OR e.option = v.approved_option)
WHERE v.object = $object
GROUP BY ALL
ORDER BY v.version
