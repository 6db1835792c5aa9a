WITH ever AS (
    SELECT content, entry FROM time_entries
    UNION
    SELECT content, key FROM history
    WHERE kind = 'time_entries' AND content IS NOT NULL
    UNION
    SELECT content, 'left out ' || rank FROM held_back
    WHERE decided = 'left out'  -- decided once
),
times AS (
    SELECT content, count(*) AS held FROM ever
    WHERE content IN (SELECT content FROM resolved WHERE entry IS NULL) GROUP BY content
)
SELECT r."row" FROM resolved AS r JOIN times USING (content)
LEFT JOIN repeats AS n ON n."row" = r."row"
WHERE r.entry IS NULL AND {untouched_r} AND coalesce(n.rank, 1) <= times.held
