-- Works told from memory, the latest first, with the hours that they took and those that were quoted.
SELECT o.object, coalesce(o.title, '') AS title, o.finished_on::TIMESTAMP AS finished_on, coalesce(s.hours, 0) AS hours, e.hours AS quoted_hours
FROM objects AS o
LEFT JOIN (SELECT l.object, sum(s.counted_hours) AS hours FROM spells AS s JOIN lines AS l ON l.line = s.line GROUP BY l.object) AS s ON s.object = o.object
LEFT JOIN (SELECT object, sum(hours) AS hours FROM estimate_lines WHERE version = 1 GROUP BY object) AS e ON e.object = o.object
WHERE o.remembered
ORDER BY o.finished_on DESC NULLS LAST, o.object
