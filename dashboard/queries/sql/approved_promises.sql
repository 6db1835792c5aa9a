-- What the latest approved version of each work promises, as things stood on the day $as_of, and what its price leaves room for. Of a saved quote the hours of the price, allowance and all, of the option that was
-- approved; of one that was written by hand the sum of its lines, and null where one of them has none. Costs, net and reckoned price of a saved quote are what it stood on.
WITH latest AS (
    FROM yardsticks($as_of) WHERE approved
), summed AS (
    SELECT l.object, CASE WHEN count(e.line) = count(e.hours) AND (l.option IS NOT NULL OR count(e.option) = 0) THEN sum(e.hours) END AS hours
    FROM latest AS l JOIN estimate_lines AS e ON e.object = l.object AND e.version = l.version AND (e.option IS NULL OR l.option IS NULL OR e.option = l.option) GROUP BY l.object, l.option
)
SELECT l.object, l.version, v.approved_on::TIMESTAMP AS approved_on, coalesce(q.promised_hours, s.hours) AS approved_hours, v.price::DOUBLE AS price, v.currency,
    (q.stood_on ->> '$.money.costs')::DOUBLE AS costs, (q.stood_on ->> '$.money.net')::DOUBLE AS net, q.price AS reckoned_price, t.tax_in_price, t.tax_per_cent, coalesce(f.first_stage, false) AS first_stage
FROM latest AS l JOIN estimate_versions AS v ON v.object = l.object AND v.version = l.version
JOIN taxed_versions AS t ON t.object = l.object AND t.version = l.version
LEFT JOIN summed AS s ON s.object = l.object
LEFT JOIN quoted_options AS q ON q.object = l.object AND q.version = l.version AND q.option = coalesce(l.option, '')
LEFT JOIN quotes AS f ON f.object = l.object AND f.version = l.version
ORDER BY l.object
