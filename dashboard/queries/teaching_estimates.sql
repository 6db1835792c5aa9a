-- What versions of estimates made before the day $before said of each line. Equal lines are summed; a sum with an unknown in it is unknown.
-- Of options only the approved one; `option_approved_on` says since when that is known (null: not an option), `ended_on` since when the version came to nothing. Days are days since 1970.
-- `estimate_hours` is what stands there; `hours` is the figure of who made it. What a quote told from the record alone is nobody's figure, not where it was copied into a later version either;
-- and `taken_over` is what was on the bench already when a quote was saved: the version is no yardstick for that line, be it of the same day.
WITH quoted AS (
    SELECT l.line, q.version, q.option, q.own_hours, q.worked_hours, e.hours
    FROM quoted_lines AS q JOIN lines AS l ON l.object = q.object AND l.phase = q.phase AND l.technique = q.technique AND l.part = q.part
    JOIN estimated_lines AS e ON e.line = l.line AND e.version = q.version AND coalesce(e.option, '') = q.option
), copied AS (
    SELECT DISTINCT ON (e.line, e.version, e.hours) e.line, e.version, e.hours, q.own_hours
    FROM estimated_lines AS e JOIN quoted AS q ON q.line = e.line AND q.version < e.version AND q.hours = e.hours ORDER BY q.version DESC
), told AS (
    SELECT e.line, e.version, e.option, e.quantity, e.unit, e.person, e.hours AS estimate_hours,
        CASE WHEN q.line IS NOT NULL THEN q.own_hours WHEN c.line IS NOT NULL THEN c.own_hours ELSE e.hours END AS hours, coalesce(q.worked_hours > 0, false) AS taken_over
    FROM estimated_lines AS e
    LEFT JOIN quoted AS q ON q.line = e.line AND q.version = e.version AND q.option = coalesce(e.option, '')
    LEFT JOIN copied AS c ON c.line = e.line AND c.version = e.version AND c.hours = e.hours
)
SELECT e.line, e.version, v.made_on - DATE '1970-01-01' AS made_on, x.ended_on - DATE '1970-01-01' AS ended_on,
    CASE WHEN e.option IS NOT NULL THEN v.approved_on - DATE '1970-01-01' END AS option_approved_on,
    CASE WHEN count(e.hours) = count(*) THEN sum(e.hours) END AS hours,
    CASE WHEN count(e.estimate_hours) = count(*) THEN sum(e.estimate_hours) END AS estimate_hours,
    CASE WHEN count(e.quantity) = count(*) AND min(coalesce(e.unit, t.unit)) IS NOT DISTINCT FROM t.unit AND max(coalesce(e.unit, t.unit)) IS NOT DISTINCT FROM t.unit
        THEN sum(e.quantity) END AS quantity,
    CASE WHEN count(e.person) = count(*) AND min(e.person) = max(e.person) THEN min(e.person) END AS person,
    bool_or(e.taken_over) AS taken_over
FROM told AS e JOIN lines AS l ON l.line = e.line JOIN estimate_versions AS v ON v.object = l.object AND v.version = e.version
LEFT JOIN techniques AS t ON t.technique = l.technique
LEFT JOIN ended_versions AS x ON x.object = v.object AND x.version = v.version AND x.ended_on < $before
WHERE v.made_on < $before AND (e.option IS NULL OR (e.option = v.approved_option AND v.approved_on < $before))
GROUP BY e.line, e.version, v.made_on, x.ended_on, option_approved_on, t.unit
ORDER BY ALL
