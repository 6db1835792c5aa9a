-- Works that are not finished on the day $today, latest in hand first, with the lines worked last on top and those estimated and not begun behind, techniques
-- first: one row a work. Of techniques the first six places are told, of phases and works as a whole all lines, as these are few and stand in no other list.
WITH bench AS (
    SELECT object, title, received_on FROM objects WHERE coalesce(finished_on > $today, true)
), used AS (
    SELECT l.object, l.phase, l.technique, l.part, max(s.day) AS last_day, max(coalesce(s.started_at, s.day::TIMESTAMP)) AS last_at
    FROM spells AS s JOIN lines AS l ON l.line = s.line SEMI JOIN bench AS b ON b.object = l.object GROUP BY ALL
), estimated AS (
    SELECT DISTINCT l.object, l.phase, l.technique, l.part
    FROM estimated_lines AS e JOIN lines AS l ON l.line = e.line
    JOIN yardsticks('infinity'::DATE) AS y ON y.object = l.object AND y.version = e.version AND (e.option IS NULL OR coalesce(e.option = y.option, false))
    SEMI JOIN bench AS b ON b.object = l.object
    WHERE NOT EXISTS (SELECT 1 FROM milestones AS m WHERE m.object = l.object AND holds(m.phase, m.technique, m.part, l.phase, l.technique, l.part))
), together AS (
    SELECT object, phase, technique, part, last_day, last_at FROM used
    UNION ALL
    SELECT object, phase, technique, part, NULL, NULL FROM estimated AS e ANTI JOIN used USING (object, phase, technique, part)
), numbered AS (
    SELECT t.*, row_number() OVER (PARTITION BY t.object ORDER BY t.last_at DESC NULLS LAST, t.technique = '', p.position, t.technique, t.part) AS place
    FROM together AS t LEFT JOIN phases AS p USING (phase) LEFT JOIN techniques AS w USING (technique) WHERE w.retired_on IS NULL AND (t.technique <> '' OR p.retired_on IS NULL)
)
SELECT b.object, b.title,
    list({'phase': n.phase, 'technique': n.technique, 'part': n.part, 'last_day': n.last_day::VARCHAR} ORDER BY n.place) FILTER (n.place <= 6 OR n.technique = '') AS lines
FROM bench AS b LEFT JOIN numbered AS n ON n.object = b.object
GROUP BY b.object, b.title, b.received_on
ORDER BY max(n.last_at) DESC NULLS LAST, b.received_on DESC NULLS LAST, b.object DESC
