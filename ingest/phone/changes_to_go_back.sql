CREATE OR REPLACE TEMP TABLE to_go_back AS
WITH own AS (
    SELECT c.entry, c.event, c.history, {place} AS place FROM phone_changes AS c
    JOIN phone_actions AS a ON a.action = c.action
    WHERE {of_device}
),
others AS (
    SELECT entry, max(place) AS latest
    FROM (
        SELECT h.key AS entry, 2 * h.number AS place FROM history AS h
        SEMI JOIN own ON own.entry = h.key
        WHERE h.kind = 'time_entries'
            AND h.number NOT IN (
                SELECT history FROM own WHERE event <> 'made' OR h.event = 'put back'
            )
        UNION ALL
        SELECT c.entry, {place} FROM phone_changes AS c
        JOIN phone_actions AS a ON a.action = c.action SEMI JOIN own ON own.entry = c.entry
        WHERE c.event = 'made' AND NOT coalesce({of_device}, false)
    )
    GROUP BY entry
),
run AS (
    SELECT own.entry, arg_min(event, place) FILTER (place > coalesce(latest, -1)) AS event,
        arg_min(history, place) FILTER (place > coalesce(latest, -1)) AS first,
        arg_max(event, place) AS last_event
    FROM own LEFT JOIN others USING (entry)
    GROUP BY own.entry
)
SELECT r.entry, r.event, h.earlier, s.entry IS NOT NULL AS is_held,
    r.event IS NULL OR (r.last_event = 'taken back') = (s.entry IS NOT NULL) AS stands
FROM run AS r LEFT JOIN history AS h ON h.number = r.first AND r.event <> 'made'
LEFT JOIN (SELECT DISTINCT entry FROM spells) AS s ON s.entry = r.entry
