WITH ends AS (SELECT unnest(['started_at', 'ended_at']) AS column_name),
tapped AS (
    SELECT action, entry, column_name, {tap} AS tap FROM candidates, ends
    WHERE tap IS NOT NULL
)
SELECT t.action, t.column_name, arg_min(w.clock_off, (w.received_at, w.number)) FROM tapped AS t
JOIN (
    SELECT a.entry, column_name, {a_tap} AS tap, a.clock_off, a.received_at,
        a.number
    FROM phone_actions AS a, ends
    WHERE a.entry IN (SELECT entry FROM tapped)
) AS w USING (entry, column_name, tap)
GROUP BY ALL
