-- Saved quotes that used the rate of a technique ($phase empty), or of a phase or work as a whole ($technique empty), the latest first: at which rate, what their versions have for it, and what became of it.
WITH of_version AS (
    SELECT object, version, coalesce(option, '') AS option, phase, technique, part, sum(hours) AS hours FROM estimate_lines WHERE technique = $technique AND ($technique <> '' OR phase = $phase) GROUP BY ALL
)
SELECT l.object, l.version, nullif(l.option, '') AS option, l.part, q.as_of::TIMESTAMP AS as_of, l.rate, l.unit, l.pinned, json_array_length(l.works)::INTEGER AS works,
    coalesce(len(list_intersect(from_json(l.works, '["VARCHAR"]'), (SELECT list(object) FROM objects WHERE remembered))), 0)::INTEGER AS remembered, l.p50, l.p80,
    coalesce(w.hours * l.promised_hours / nullif(sum(l.promised_hours) OVER (PARTITION BY l.object, l.version, l.option, l.phase, l.part), 0), l.promised_hours) AS hours,
    v.approved_on::TIMESTAMP AS approved_on, x.outcome
FROM quoted_lines AS l JOIN quotes AS q ON q.object = l.object AND q.version = l.version JOIN estimate_versions AS v ON v.object = l.object AND v.version = l.version
LEFT JOIN of_version AS w ON w.object = l.object AND w.version = l.version AND w.option = l.option AND w.phase = l.phase AND w.technique = l.technique AND w.part = l.part
LEFT JOIN ended_versions AS x ON x.object = l.object AND x.version = l.version
WHERE l.technique = $technique AND ($technique <> '' OR l.phase = $phase) AND l.worked_hours = 0 ORDER BY q.saved_at DESC, l.object, l.version, l.option, l.place
