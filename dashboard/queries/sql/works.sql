-- Every object with what its state is told from, as things stood on the day $as_of (clock times of the zone $zone): one row an object.
WITH versions AS (
    SELECT object, count(*) AS versions, max(version) FILTER (approved_on <= $as_of) AS approved_version,
        max(approved_on) FILTER (approved_on <= $as_of) AS approved_on,
        -- how it came to nothing, where none of its versions stands
        CASE WHEN count(x.outcome) = count(*) THEN arg_max(x.outcome, version) END AS outcome, CASE WHEN count(x.outcome) = count(*) THEN max(x.ended_on) END AS ended_on
    FROM estimate_versions AS v LEFT JOIN (SELECT object, version, outcome, ended_on FROM ended_versions WHERE ended_on <= $as_of) AS x USING (object, version)
    WHERE made_on <= $as_of GROUP BY object
), logged AS (
    SELECT l.object, count(*) AS entries, min(s.day) AS first_day, max(s.day) AS last_day,
        arg_max(line_name(l.phase, l.technique), (s.day, s.started_at)) AS last_line,
        -- waiting that has not ended yet: pressing, drying
        max(s.ended_at) FILTER (s.mode = 'unattended') AS waits_until
    FROM spells AS s JOIN lines AS l ON l.line = s.line WHERE s.day <= $as_of AND l.object IS NOT NULL GROUP BY l.object
)
SELECT o.* EXCLUDE (owner, owner_address, received_on, due_on, finished_on),
    o.received_on::TIMESTAMP AS received_on, o.due_on::TIMESTAMP AS due_on, CASE WHEN o.finished_on <= $as_of THEN o.finished_on END::TIMESTAMP AS finished_on,
    coalesce(v.versions, 0) AS versions, v.approved_version, v.approved_on::TIMESTAMP AS approved_on, v.outcome, v.ended_on::TIMESTAMP AS ended_on,
    coalesce(e.entries, 0) AS entries, e.first_day::TIMESTAMP AS first_day, e.last_day::TIMESTAMP AS last_day, e.last_line, e.waits_until, timezone($zone, timezone('UTC', e.waits_until)) AS waits_until_there,
    d.object IS NOT NULL AS has_draft
FROM objects AS o
LEFT JOIN versions AS v ON v.object = o.object
LEFT JOIN logged AS e ON e.object = o.object
LEFT JOIN drafts AS d ON d.object = o.object
ORDER BY o.finished_on IS NOT NULL, coalesce(o.received_on, e.first_day) DESC, o.object DESC
