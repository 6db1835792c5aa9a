-- What versions of estimates made before the day $before said of each line. Equal lines are summed; a sum with an unknown in it is unknown.
-- Of options only the approved one; `option_approved_on` says since when that is known (null: not an option), `ended_on` since when the version came to nothing. Days are days since 1970.
-- `estimate_hours` is what stands there; `hours` is the figure of who made it; a version is no yardstick for a line that it has `taken_over` from the bench, be it of the same day. See the view own_figures.
SELECT e.line, e.version, v.made_on - DATE '1970-01-01' AS made_on, x.ended_on - DATE '1970-01-01' AS ended_on,
    CASE WHEN e.option IS NOT NULL THEN v.approved_on - DATE '1970-01-01' END AS option_approved_on,
    CASE WHEN count(e.hours) = count(*) THEN sum(e.hours) END AS hours,
    CASE WHEN count(e.estimate_hours) = count(*) THEN sum(e.estimate_hours) END AS estimate_hours,
    CASE WHEN count(e.quantity) = count(*) AND min(coalesce(e.unit, t.unit)) IS NOT DISTINCT FROM t.unit AND max(coalesce(e.unit, t.unit)) IS NOT DISTINCT FROM t.unit
        THEN sum(e.quantity) END AS quantity,
    CASE WHEN count(e.person) = count(*) AND min(e.person) = max(e.person) THEN min(e.person) END AS person,
    bool_or(e.taken_over) AS taken_over
FROM own_figures AS e JOIN lines AS l ON l.line = e.line JOIN estimate_versions AS v ON v.object = l.object AND v.version = e.version
LEFT JOIN techniques AS t ON t.technique = l.technique
LEFT JOIN ended_versions AS x ON x.object = v.object AND x.version = v.version AND x.ended_on < $before
WHERE v.made_on < $before AND (e.option IS NULL OR (e.option = v.approved_option AND v.approved_on < $before))
GROUP BY e.line, e.version, v.made_on, x.ended_on, option_approved_on, t.unit
ORDER BY ALL
