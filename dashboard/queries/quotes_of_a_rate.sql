-- Saved quotes that used the rate of a technique, the latest first: at which rate, what they promised of it, and what became of it.
SELECT l.object, l.version, nullif(l.option, '') AS option, l.part, q.as_of::TIMESTAMP AS as_of, l.rate, l.unit, l.pinned, json_array_length(l.works)::INTEGER AS works, l.p50, l.p80, l.promised_hours,
    v.approved_on::TIMESTAMP AS approved_on, x.outcome
FROM quoted_lines AS l JOIN quotes AS q ON q.object = l.object AND q.version = l.version JOIN estimate_versions AS v ON v.object = l.object AND v.version = l.version
LEFT JOIN ended_versions AS x ON x.object = l.object AND x.version = l.version
WHERE l.technique = $technique AND l.worked_hours = 0 ORDER BY q.saved_at DESC, l.object, l.version, l.option, l.place
