INSERT INTO doubtful
    WITH stated AS (  -- entries that a row of the file states as they are
        SELECT entry
        FROM (
            SELECT entry, content, row_number() OVER (PARTITION BY content ORDER BY entry) AS rank FROM spells
            WHERE content IN (SELECT content FROM resolved)
        ) AS s
        JOIN (
            SELECT r.content, count(*) AS times
            FROM resolved AS r JOIN row_status AS t ON t."row" = r."row" AND t.status = 'already held'
            WHERE r.entry IS NULL GROUP BY r.content
        ) AS h USING (content)
        WHERE s.rank <= h.times
    ),
    moved AS (
        SELECT r."row", r.content, coalesce(n.rank, 1) AS rank, o.entry,
            o.entry IN (FROM stated) AS is_stated
        FROM resolved AS r JOIN said_otherwise AS o USING ("row")
        LEFT JOIN repeats AS n ON n."row" = r."row"
        WHERE r.entry IS NULL AND o.entry IS NOT NULL AND {untouched_r}
    ),
    others AS (
        SELECT "row", content, rank, row_number() OVER (ORDER BY "row") AS place FROM moved
        WHERE is_stated
    ),
    left_over AS (
        SELECT entry, row_number() OVER (ORDER BY "row") AS place FROM said_otherwise
        WHERE "row" IN (SELECT "row" FROM row_status WHERE status = 'already held') AND entry NOT IN (FROM stated)
            AND entry NOT IN (SELECT entry FROM moved WHERE NOT is_stated)
    )
    SELECT "row", content, rank, 1, entry, entry FROM moved WHERE NOT is_stated
    UNION ALL
    SELECT o."row", o.content, o.rank, 1, l.entry, l.entry FROM others AS o JOIN left_over AS l USING (place)
