WITH own AS (
    SELECT DISTINCT a.entry FROM phone_actions AS a JOIN phone_outcomes AS o ON o.action = a.action
    WHERE a.device = $device AND a.received_at >= $since AND o.outcome = 'saved'
),
said AS (
    SELECT a.action, a.entry, a.said->>'state' AS state,
        (coalesce(d.decided_at, {action_time}), a.number, a.action) AS word,
        coalesce(a.device = $device AND a.received_at >= $since, false) AS is_own
    FROM phone_actions AS a SEMI JOIN own ON own.entry = a.entry
    JOIN phone_outcomes AS o ON o.action = a.action
        AND (o.outcome = 'saved' OR (o.outcome = 'overtaken' AND a.said->>'state' = 'running'))
    LEFT JOIN phone_decisions AS d ON d.action = a.action
),
told AS (
    SELECT entry, arg_max(is_own, word) AS is_last,
        arg_max(state, word) FILTER (NOT is_own) AS state,
        arg_max(action, word) FILTER (NOT is_own) AS action
    FROM said
    GROUP BY entry
)
SELECT t.entry, CASE WHEN t.state = 'running' THEN t.action END FROM told AS t
LEFT JOIN spells_in_hand AS i ON i.entry = t.entry
WHERE t.is_last AND (coalesce(t.state = 'running', false) <> (i.entry IS NOT NULL))
ORDER BY t.entry
