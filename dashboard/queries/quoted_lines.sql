-- The lines of one saved quote as they were told, in the order in which they stood.
SELECT nullif(l.option, '') AS option, l.phase, l.technique, l.part, l.p50, l.p80, l.p90, l.promised_hours, l.own_hours, l.worked_hours, l.rate, l.rate_low, l.rate_high, l.unit, l.pinned, l.works::VARCHAR[] AS works
FROM quoted_lines AS l WHERE l.object = $object AND l.version = $version ORDER BY l.option, l.place
