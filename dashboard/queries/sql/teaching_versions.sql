-- The versions of each estimate made before the day $before, in the order in which they were made (days since 1970): since when one came to nothing, and whether it was of a first stage
-- alone, so that what is not on it was not overlooked.
SELECT v.object, v.version, v.made_on - DATE '1970-01-01' AS made_on, x.ended_on - DATE '1970-01-01' AS ended_on, coalesce(q.first_stage, false) AS first_stage
FROM estimate_versions AS v LEFT JOIN quotes AS q USING (object, version)
LEFT JOIN ended_versions AS x ON x.object = v.object AND x.version = v.version AND x.ended_on < $before
WHERE v.made_on < $before ORDER BY v.object, v.made_on, v.version
