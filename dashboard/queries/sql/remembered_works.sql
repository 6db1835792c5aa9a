-- Works told from memory, the latest first, with the hours that they took, and those that were quoted with the price.
SELECT o.object, coalesce(o.title, '') AS title, o.finished_on::TIMESTAMP AS finished_on, coalesce(s.hours, 0) AS hours, e.hours AS quoted_hours,
    v.price::DOUBLE AS price, v.currency, t.tax_in_price, t.tax_per_cent
FROM objects AS o
LEFT JOIN (SELECT l.object, sum(s.counted_hours) AS hours FROM spells AS s JOIN lines AS l ON l.line = s.line GROUP BY l.object) AS s ON s.object = o.object
LEFT JOIN (SELECT object, sum(hours) AS hours FROM estimate_lines WHERE version = 1 GROUP BY object) AS e ON e.object = o.object
LEFT JOIN estimate_versions AS v ON v.object = o.object AND v.version = 1
LEFT JOIN taxed_versions AS t ON t.object = o.object AND t.version = 1
WHERE o.remembered
ORDER BY o.finished_on DESC NULLS LAST, o.object
