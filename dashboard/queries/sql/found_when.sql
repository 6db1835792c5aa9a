-- How far each work was, of the hours held against its estimate by the day $as_of, when each line of it was begun: those of the days before its first one.
WITH daily AS (
    SELECT l.object, s.day, sum(s.counted_hours) AS hours FROM spells AS s JOIN lines AS l ON l.line = s.line WHERE s.charge = 'quoted' AND s.day <= $as_of AND l.object IS NOT NULL GROUP BY ALL
), before AS (
    SELECT object, day, sum(hours) OVER (PARTITION BY object ORDER BY day) - hours AS hours, sum(hours) OVER (PARTITION BY object) AS all_hours FROM daily
), begun AS (
    SELECT l.object, l.phase, l.technique, l.part, min(s.day) AS day FROM spells AS s JOIN lines AS l ON l.line = s.line WHERE s.charge = 'quoted' AND s.day <= $as_of AND l.object IS NOT NULL GROUP BY ALL
)
SELECT b.object, b.phase, b.technique, b.part, f.hours / f.all_hours AS passed FROM begun AS b JOIN before AS f ON f.object = b.object AND f.day = b.day WHERE f.all_hours > 0 ORDER BY ALL
