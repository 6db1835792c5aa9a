-- Techniques of which it was said, with a reason, that they will not turn up on a work: in the quote from which the version was saved by which it stands on the day $as_of. As they were typed.
SELECT q.object, unnest(json_keys(q.written, '$.works[0].left_out')) AS technique FROM quotes AS q JOIN yardsticks($as_of) AS s ON s.object = q.object AND s.version = q.version ORDER BY ALL
