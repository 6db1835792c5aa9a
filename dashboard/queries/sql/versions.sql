-- The versions of one object's estimate, with the hours of the lines that count: while no option is approved one row for each, with the lines without option;
-- else those of the one approved. Of one that was saved from a quote what that promised, and at which price; of one that came to nothing how.
WITH choices AS (
    SELECT v.version, unnest(coalesce(
        CASE WHEN v.approved_on IS NULL THEN (SELECT list(DISTINCT e.option ORDER BY e.option) FROM estimate_lines AS e WHERE e.object = v.object AND e.version = v.version AND e.option IS NOT NULL) END,
        [v.approved_option])) AS option
    FROM estimate_versions AS v WHERE v.object = $object
)
SELECT v.version, c.option, v.made_on::TIMESTAMP AS made_on, v.approved_on::TIMESTAMP AS approved_on, v.reason,
    CASE WHEN v.approved_on IS NULL THEN coalesce(o.price, v.price) ELSE v.price END AS price, CASE WHEN v.approved_on IS NULL AND o.price IS NOT NULL THEN o.currency ELSE v.currency END AS currency, t.tax_in_price, t.tax_per_cent,
    count(e.line) AS lines, sum(e.hours) AS hours, sum(coalesce(e.low_hours, e.hours)) AS low_hours, sum(coalesce(e.high_hours, e.hours)) AS high_hours,
    sum(e.unattended_hours) AS unattended_hours, count(e.line) FILTER (e.hours IS NULL) AS unpriced,
    q.number AS quote, q.as_of IS NOT NULL AS quoted, o.confidence, o.price AS reckoned_price, o.promised_hours, coalesce(json_exists(o.stood_on, '$.approved_stays'), false) AS approved_stays, o.p10, o.p50, o.p80, o.p90, x.outcome, x.ended_on::TIMESTAMP AS ended_on, x.reason AS ended_because
FROM choices AS c JOIN estimate_versions AS v ON v.object = $object AND v.version = c.version JOIN taxed_versions AS t ON t.object = v.object AND t.version = v.version
LEFT JOIN estimate_lines AS e ON e.object = v.object AND e.version = v.version AND (e.option IS NULL OR e.option = c.option)
LEFT JOIN quotes AS q ON q.object = v.object AND q.version = v.version
LEFT JOIN quoted_options AS o ON o.object = v.object AND o.version = v.version AND o.option = coalesce(c.option, '')
LEFT JOIN ended_versions AS x ON x.object = v.object AND x.version = v.version
GROUP BY ALL
ORDER BY v.version, c.option
