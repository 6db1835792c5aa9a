CREATE OR REPLACE TEMP TABLE words AS
    SELECT * EXCLUDE (said_at, decided_at, number), decided_at IS NOT NULL AS decided,
        coalesce(outcome = 'taken in', true) AS waiting,
        (coalesce(decided_at, said_at), number, action) AS word
    FROM (
        SELECT a.action, a.entry, {spell_of_a_entry} AS spell, a.number, a.received_at, a.clock_off,
            a.device, a.role, o.outcome, o.settled_at, {action_time} AS said_at, d.decided_at
        FROM phone_actions AS a JOIN turn AS t ON t.spell = {spell_of_a_entry}
        LEFT JOIN phone_outcomes AS o ON o.action = a.action
        LEFT JOIN (FROM phone_decisions WHERE decision = 'taken in') AS d ON d.action = a.action
    )
