(
    WITH known AS (
        SELECT object, version FROM estimate_versions
        UNION
        SELECT object, version FROM resolved
        WHERE "row" NOT IN (SELECT "row" FROM faults)
    )
    SELECT r."row", r.object, r.version FROM resolved AS r
    JOIN (
        SELECT DISTINCT f.object, f.version
        FROM (SELECT DISTINCT object, version FROM resolved) AS f
        LEFT JOIN known AS k ON k.object = f.object AND k.version < f.version
        GROUP BY f.object, f.version HAVING count(k.version) < f.version - 1
    ) AS gap ON gap.object = r.object AND gap.version = r.version
)
