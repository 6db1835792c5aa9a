-- What was promised of each work when it began, as things stood on the day $as_of: by the last version approved of those made before anything was logged, else by the last of those made; where nothing was
-- promised before, by the first one that was approved. A revision takes over what is worked already, and a quote of a first stage promises nothing of the whole.
-- Beside it what the latest approved version promises. Of options the approved one.
-- A version that was written by hand promises its hours, as a point (`confidence` null); one with a line of unknown hours promises nothing, nor does what was told from memory once it was over.
WITH begun AS (
    SELECT l.object, min(s.day) AS first_day FROM spells AS s JOIN lines AS l ON l.line = s.line WHERE s.day <= $as_of AND s.charge <> 'own_cost' AND l.object IS NOT NULL GROUP BY l.object
), standing AS (
    SELECT v.object, v.version, v.made_on, CASE WHEN v.approved_on <= $as_of THEN v.approved_on END AS approved_on, CASE WHEN v.approved_on <= $as_of THEN v.approved_option END AS approved_option,
        coalesce(v.approved_on <= $as_of, false) AS approved, q.object IS NOT NULL AS quoted,
        (b.first_day IS NULL OR v.made_on <= b.first_day) AND NOT EXISTS (SELECT 1 FROM quoted_lines AS w WHERE w.object = v.object AND w.version = v.version AND w.begun) AS before_it
    FROM standing_on($as_of) AS v
    LEFT JOIN quotes AS q ON q.object = v.object AND q.version = v.version LEFT JOIN begun AS b ON b.object = v.object
    WHERE NOT coalesce(q.first_stage, false)
), promised AS (
    SELECT s.object, s.version, s.made_on, s.approved_on, s.quoted, s.approved, s.before_it, o.confidence, o.p10, o.p50, o.p80, o.p90,
        coalesce(any_value(o.promised_hours), CASE WHEN count(e.line) = count(e.hours) AND bool_and(s.approved_option IS NOT NULL OR NOT s.optional) THEN sum(e.hours) END) AS promised_hours
    FROM (SELECT s.*, EXISTS (SELECT 1 FROM estimate_lines AS e WHERE e.object = s.object AND e.version = s.version AND e.option IS NOT NULL) AS optional FROM standing AS s) AS s
    LEFT JOIN quoted_options AS o ON o.object = s.object AND o.version = s.version AND o.option = coalesce(s.approved_option, '')
    LEFT JOIN estimate_lines AS e ON e.object = s.object AND e.version = s.version AND (e.option IS NULL OR e.option = s.approved_option)
    GROUP BY ALL
), chosen AS (
    SELECT object, coalesce(max(version) FILTER (approved AND before_it), max(version) FILTER (before_it), min(version) FILTER (approved)) AS version, max(version) FILTER (approved) AS latest,
        count(*) FILTER (approved) AS approvals
    FROM promised WHERE promised_hours > 0 AND object NOT IN (SELECT object FROM objects WHERE remembered) GROUP BY object
)
SELECT c.object, p.version, p.made_on::TIMESTAMP AS made_on, p.approved_on::TIMESTAMP AS approved_on, p.quoted, p.confidence::DOUBLE AS confidence, p.p10, p.p50, p.p80, p.p90, p.promised_hours,
    c.approvals, CASE WHEN l.version > p.version THEN l.promised_hours END AS revised_hours
FROM chosen AS c JOIN promised AS p ON p.object = c.object AND p.version = c.version LEFT JOIN promised AS l ON l.object = c.object AND l.version = c.latest
ORDER BY c.object
