-- The techniques that can have a rate: done by hand on works. Those out of use on the day $as_of have one as long as the record knows them.
SELECT t.technique, t.phase, coalesce(t.unit, '') AS unit, coalesce(t.cautions, '') AS cautions, p.position, coalesce(t.retired_on <= $as_of, false) AS retired
FROM techniques AS t LEFT JOIN phases AS p ON p.phase = t.phase
WHERE t.mode <> 'unattended' AND coalesce(p.position, 1) > 0
ORDER BY p.position, t.phase, t.technique
