-- What versions of estimates made before the day $before said of each line. Equal lines are summed; a sum with an unknown in it is unknown.
-- Of options only the approved one; `option_approved_on` says since when that is known (null: not an option). Days are days since 1970.
SELECT e.line, e.version, v.made_on - DATE '1970-01-01' AS made_on,
    CASE WHEN e.option IS NOT NULL THEN v.approved_on - DATE '1970-01-01' END AS option_approved_on,
    CASE WHEN count(e.hours) = count(*) THEN sum(e.hours) END AS hours,
    CASE WHEN count(e.quantity) = count(*) AND min(coalesce(e.unit, t.unit)) IS NOT DISTINCT FROM t.unit AND max(coalesce(e.unit, t.unit)) IS NOT DISTINCT FROM t.unit
        THEN sum(e.quantity) END AS quantity,
    CASE WHEN count(e.person) = count(*) AND min(e.person) = max(e.person) THEN min(e.person) END AS person
FROM estimated_lines AS e JOIN lines AS l ON l.line = e.line JOIN estimate_versions AS v ON v.object = l.object AND v.version = e.version
LEFT JOIN techniques AS t ON t.technique = l.technique
WHERE v.made_on < $before AND (e.option IS NULL OR (e.option = v.approved_option AND v.approved_on < $before))
GROUP BY e.line, e.version, v.made_on, option_approved_on, t.unit
ORDER BY ALL
