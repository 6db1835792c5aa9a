INSERT INTO doubtful
    SELECT r."row", r.content, coalesce(any_value(n.rank), 1) AS rank,
        -- an entry that this file itself states, or corrects by name, is not what another row of it
        -- corrects
        count(DISTINCT e.entry) FILTER (NOT stated) AS candidates,
        arg_min(e.entry, abs(e.hours - r.hours)) FILTER (NOT stated) AS candidate,
        arg_min(e.entry, abs(e.hours - r.hours)) AS resembles
    FROM resolved AS r
    JOIN (
        SELECT *,
            content IN (SELECT content FROM resolved)
            OR entry IN (SELECT entry FROM corrections) AS stated
        FROM time_entries
    ) AS e ON e.person = r.person AND e.day = r.day AND e.technique = r.technique
        AND e.object IS NOT DISTINCT FROM r.object
        AND (r.technique <> '' OR e.phase = r.phase) -- two phases of one day are two spells
        AND (
            abs(e.hours - r.hours) > 1e-6 OR e.phase <> r.phase OR e.mode <> r.mode
            OR (e.part = r.part AND e.started_at IS NOT DISTINCT FROM r.started_at)
        )
    LEFT JOIN repeats AS n ON n."row" = r."row"
    WHERE r.entry IS NULL AND {untouched_r} AND r."row" NOT IN (SELECT "row" FROM doubtful) GROUP BY ALL
