-- Techniques of which it was said, with a reason, that they will not turn up on a work: in the quote from which the version was saved by which it stands on the day $as_of. As they were typed.
WITH standing AS (
    SELECT v.object, coalesce(max(v.version) FILTER (v.approved_on <= $as_of), max(v.version)) AS version
    FROM estimate_versions AS v ANTI JOIN (SELECT object, version FROM ended_versions WHERE ended_on <= $as_of) AS x ON x.object = v.object AND x.version = v.version
    WHERE v.made_on <= $as_of GROUP BY v.object
)
SELECT q.object, unnest(json_keys(q.written, '$.works[0].left_out')) AS technique FROM quotes AS q JOIN standing AS s ON s.object = q.object AND s.version = q.version ORDER BY ALL
