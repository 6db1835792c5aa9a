(
    WITH said AS (
        SELECT "row", object, phase, technique, part, done, day, started_at FROM resolved
        WHERE done IS NOT NULL AND object IS NOT NULL AND charge <> 'own_cost' AND {untouched}
    ),
    together AS (
        SELECT "row", object, phase, technique, part, done, day, started_at FROM said
        UNION ALL
        SELECT NULL, object, phase, technique, part, done, day, started_at FROM time_entries AS held
        WHERE done IS NOT NULL AND charge <> 'own_cost' AND object IN (SELECT object FROM said)
            AND held.entry NOT IN (SELECT entry FROM corrections)
    )
    SELECT "row", done,
        greatest(
            max(done) OVER (days GROUPS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING),
            CASE
                WHEN started_at IS NOT NULL THEN max(done) OVER (
                    clock ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
                )
            END
        ) AS earlier,
        least(
            min(done) FILTER ("row" IS NULL) OVER (
                days GROUPS BETWEEN 1 FOLLOWING AND UNBOUNDED FOLLOWING
            ),
            CASE
                WHEN started_at IS NOT NULL THEN min(done) FILTER ("row" IS NULL) OVER (
                    clock ROWS BETWEEN 1 FOLLOWING AND UNBOUNDED FOLLOWING
                )
            END
        ) AS later_held
    FROM together
    WINDOW days AS (PARTITION BY object, phase, technique, part ORDER BY day),
        clock AS (
            PARTITION BY object, phase, technique, part, day, started_at IS NULL
            ORDER BY started_at, done
        )
)
