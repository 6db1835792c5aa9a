-- Days on which lines were said to be finished, before the day $before: by their own milestone, their phase's, or their work's (days since 1970).
SELECT l.line, m.finished_on - DATE '1970-01-01' AS day
FROM milestones AS m JOIN lines AS l ON l.object = m.object AND holds(m.phase, m.technique, m.part, l.phase, l.technique, l.part)
WHERE m.finished_on < $before
UNION
SELECT l.line, o.finished_on - DATE '1970-01-01' FROM objects AS o JOIN lines AS l ON l.object = o.object WHERE o.finished_on < $before
ORDER BY ALL
