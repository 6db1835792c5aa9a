-- Every version of every estimate made by the day $as_of, with what became of it: approved, declined, withdrawn, superseded by a later one, waiting for the owner's word, or (of a finished work) never answered. What was told from memory is no version that an owner was asked about here.
SELECT v.object, v.version, v.made_on::TIMESTAMP AS made_on, q.number AS quote, q.object IS NOT NULL AS quoted,
    CASE WHEN x.outcome IS NOT NULL THEN x.outcome
        WHEN v.approved_on <= $as_of THEN 'approved'
        WHEN EXISTS (SELECT 1 FROM standing_on($as_of) AS l WHERE l.object = v.object AND l.version > v.version) THEN 'superseded'
        WHEN o.finished_on <= $as_of THEN 'no word noted'
        ELSE 'waiting for a word' END AS outcome,
    coalesce(x.ended_on, CASE WHEN v.approved_on <= $as_of THEN v.approved_on END)::TIMESTAMP AS on_day, x.reason
FROM estimate_versions AS v JOIN objects AS o ON o.object = v.object LEFT JOIN quotes AS q ON q.object = v.object AND q.version = v.version
LEFT JOIN (SELECT * FROM ended_versions WHERE ended_on <= $as_of) AS x ON x.object = v.object AND x.version = v.version
WHERE v.made_on <= $as_of AND o.remembered IS DISTINCT FROM true ORDER BY v.made_on DESC, v.object, v.version
