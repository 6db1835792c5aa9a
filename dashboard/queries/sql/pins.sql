-- The pinned rates that stood on the day $as_of, for techniques that still have the unit they were pinned in, and for phases and works as a whole, which have none.
SELECT p.phase, p.technique, p.rate AS pinned_rate, p.reason AS pinned_reason, p.pinned_on::TIMESTAMP AS pinned_on, p.pinned_by
FROM pinned_rates AS p LEFT JOIN techniques AS t ON t.technique = p.technique
WHERE p.pinned_on <= $as_of AND (p.withdrawn_on IS NULL OR p.withdrawn_on > $as_of) AND p.unit IS NOT DISTINCT FROM t.unit
ORDER BY p.technique, p.phase
