CREATE OR REPLACE TEMP TABLE turn AS
SELECT spell
FROM (
    SELECT {spell} AS spell, min(a.made_at) AS since, max(a.received_at) AS came
    FROM phone_actions AS a
    ANTI JOIN {settled} AS o ON o.action = a.action {among}
    GROUP BY 1
)
LEFT JOIN (
    SELECT unnest(
        from_json($aside, '[{"spell": "VARCHAR", "until": "TIMESTAMP"}]'), max_depth := 2
    )
) AS x USING (spell)
WHERE coalesce(came > x.until, true) ORDER BY since, spell LIMIT {most_spells}
