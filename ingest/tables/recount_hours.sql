-- A person's hours count once: an attended spell counts only outside her own hands-on spells and her earlier attended ones.
-- Recounts the attended spells of the person-days in `touched` (person, day); a spell of at most 16 hours
-- meets hands-on spells of its own day and of the two beside it. `{spells}` are those held, or those that will be.
CREATE OR REPLACE TEMP TABLE recounted AS
WITH attended AS (
    SELECT e.id, e.entry, e.person, e.day, e.started_at, e.ended_at, e.hours, e.counted_hours
    FROM {spells} AS e
    WHERE e.mode = 'attended' AND e.started_at IS NOT NULL
      AND EXISTS (SELECT 1 FROM touched AS t WHERE t.person = e.person AND t.day BETWEEN e.day - 1 AND e.day + 1)
), met AS (
    SELECT a.id, greatest(h.started_at, a.started_at) AS met_from, least(h.ended_at, a.ended_at) AS met_to
    FROM (SELECT *, unnest([day - 1, day, day + 1]) AS near_day FROM attended) AS a
    JOIN {spells} AS h
      ON h.person = a.person AND h.day = a.near_day AND h.started_at < a.ended_at AND h.ended_at > a.started_at
      AND (h.mode = 'hands_on' OR (h.mode = 'attended' AND (h.started_at, h.entry) < (a.started_at, a.entry)))
), ordered AS (  -- overlapping spells cover once: only what lies beyond all earlier ones
    SELECT id, met_from, met_to, max(met_to) OVER (PARTITION BY id ORDER BY met_from, met_to ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS covered_to
    FROM met
), covered AS (
    SELECT id, sum(greatest(0, epoch(met_to - greatest(met_from, coalesce(covered_to, met_from))))) / 3600 AS hours
    FROM ordered GROUP BY id
)
SELECT a.id, greatest(0, a.hours - coalesce(c.hours, 0)) AS counted_hours
FROM attended AS a LEFT JOIN covered AS c ON c.id = a.id
WHERE abs(a.counted_hours - greatest(0, a.hours - coalesce(c.hours, 0))) > 1e-9
