WITH refused AS (
    SELECT DISTINCT a.entry FROM phone_actions AS a JOIN phone_outcomes AS o USING (action)
    WHERE o.outcome = 'refused'
),
said AS (
    SELECT a.*, o.outcome, o.told,
        min(a.made_at) OVER (
            PARTITION BY a.phone, a.entry ORDER BY a.number ROWS BETWEEN CURRENT ROW AND UNBOUNDED FOLLOWING
        ) AS said_at
    FROM phone_actions AS a JOIN phone_outcomes AS o USING (action) SEMI JOIN refused USING (entry)
)
SELECT action, entry, number, said, told FROM said WHERE true
QUALIFY row_number() OVER (PARTITION BY entry ORDER BY said_at DESC, number DESC, action DESC) = 1
    AND outcome = 'refused' AND coalesce({whose} = ?, true)
ORDER BY made_at, number
