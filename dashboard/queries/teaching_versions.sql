-- The versions of each estimate made before the day $before, in the order in which they were made (days since 1970).
SELECT object, version, made_on - DATE '1970-01-01' AS made_on FROM estimate_versions WHERE made_on < $before ORDER BY object, estimate_versions.made_on, version
