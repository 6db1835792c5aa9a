-- Time entries as their form has them, each under a name. Times are those of the studio's clock where it shows them once, and UTC where it was changed.
-- The words in braces are SQL of ingest/values/timezones.py; `zone_days` has the days of `local_spells`.
SELECT e.entry, e.object, e.phase, e.technique, e.part, e.person,
    CASE WHEN e.started_at IS NULL THEN NULL WHEN {start_in_change} OR ({start_utc}) IS DISTINCT FROM e.started_at THEN e.started_at::VARCHAR || 'Z' ELSE e.local_start::VARCHAR END AS started_at,
    CASE WHEN e.ended_at IS NULL THEN NULL WHEN {end_in_change} OR ({end_utc}) IS DISTINCT FROM e.ended_at THEN e.ended_at::VARCHAR || 'Z' ELSE e.local_end::VARCHAR END AS ended_at,
    CASE WHEN e.started_at IS NULL THEN e.day END AS date, CASE WHEN e.started_at IS NULL THEN e.hours END AS hours,
    e.mode, e.charge, e.quantity, e.unit, e.done, e.discovery, e.note, e.total, e.day, e.started_at AS began_at
FROM local_spells AS e
LEFT JOIN zone_days AS s ON s.day = e.local_start::DATE
LEFT JOIN zone_days AS f ON f.day = e.local_end::DATE
