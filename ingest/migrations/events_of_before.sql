-- What happened, of rows of the history that were written before form 10: on the way to that form, and of an export from before it. Only here is a reason ever read.
--
-- A row has what was there before the change; what was there after it is in the next row of the same thing, or in the record. By the two, and not by the reason, is told what became of
-- estimates and words. Of the rest the program of that time wrote these reasons itself:
--   'brought in with FILE': by a file, and FILE was brought in at that very instant (`imports`). Where that is not known of an entry, whose reasons people typed as well, it is a correction and its
--       reason somebody's own. 'brought in with a file' is how a shared export wrote it.
--   'taken back: WHY': an entry that is gone, or was there again just as it had been, since a correction always changes what an entry says; or a phone struck it at that instant. WHY is its reason
--       from now on. Any other reason that begins so was typed by somebody who corrected the entry, and stays as it was typed. One case is not told apart: an entry that was taken back on a page and
--       then brought in anew, saying otherwise, by a file under the same name. It counts as corrected, which alters nothing of what is held.
--   'renamed under Studio', 'joined under Studio': of people, of whom no reason was ever typed.
-- That an entry was put back left no row at the time, and nobody knows when it was: none is made up.
-- `$after`: rows with a greater number are told.

UPDATE history SET event = told.event, reason = told.reason FROM (
    WITH changes AS (
        SELECT *, lead(number) OVER same IS NULL AS is_last, lead(content) OVER same AS next_content, lead(earlier) OVER same AS next_earlier
        FROM history WINDOW same AS (PARTITION BY kind, key ORDER BY number)
    ), compared AS (
        SELECT c.*,
            CASE WHEN c.is_last THEN s.content ELSE c.next_content END AS content_after,
            c.earlier->>'$.version.approved_on' AS approved_before,
            CASE WHEN c.is_last THEN v.approved_on::VARCHAR ELSE c.next_earlier->>'$.version.approved_on' END AS approved_after,
            coalesce(c.earlier->>'technique', c.earlier->>'phase') AS name_before, c.earlier->>'retired_on' AS retired_before,
            CASE WHEN c.is_last THEN coalesce(t.technique, p.phase) ELSE coalesce(c.next_earlier->>'technique', c.next_earlier->>'phase') END AS name_after,
            CASE WHEN c.is_last THEN coalesce(t.retired_on, p.retired_on)::VARCHAR ELSE c.next_earlier->>'retired_on' END AS retired_after,
            EXISTS (FROM imports AS i WHERE i.imported_at = c.changed_at AND c.reason = 'brought in with ' || i.file) OR c.reason = 'brought in with a file'
                OR (c.kind <> 'time_entries' AND starts_with(c.reason, 'brought in with ')) AS by_a_file,
            EXISTS (FROM phone_outcomes AS o WHERE o.settled_at = c.changed_at) AS by_a_phone
        FROM changes AS c
        LEFT JOIN spells AS s ON c.kind = 'time_entries' AND s.entry = c.key
        LEFT JOIN estimate_versions AS v ON c.kind = 'estimate_versions' AND c.key = v.object || ' version ' || v.version
        LEFT JOIN phases AS p ON c.kind = 'phases' AND p.key = c.earlier->>'key'
        LEFT JOIN techniques AS t ON c.kind = 'techniques' AND t.key = c.earlier->>'key'
    ), events AS (
        SELECT number, kind, reason, CASE
            WHEN kind = 'time_entries' AND starts_with(reason, 'taken back: ')
                AND (coalesce(content_after = content, true) OR (by_a_phone AND reason = 'taken back: on the phone')) THEN 'taken back'
            WHEN kind IN ('milestones', 'ended_versions') THEN 'taken back'
            WHEN by_a_file THEN 'brought in'
            WHEN kind = 'estimate_versions' AND approved_before IS NULL AND approved_after IS NOT NULL THEN 'approved'
            WHEN kind = 'estimate_versions' AND approved_before IS NOT NULL AND approved_after IS NULL THEN 'taken back'
            WHEN kind IN ('phases', 'techniques') AND name_before <> name_after THEN 'renamed'
            WHEN kind IN ('phases', 'techniques') AND retired_before IS NULL AND retired_after IS NOT NULL THEN 'retired'
            WHEN kind IN ('phases', 'techniques') AND retired_before IS NOT NULL AND retired_after IS NULL THEN 'put back'
            WHEN kind = 'people' AND reason = 'renamed under Studio' THEN 'renamed'
            WHEN kind = 'people' AND reason = 'joined under Studio' THEN 'joined'
            WHEN kind = 'people' AND earlier->>'left_on' IS NULL THEN 'retired'
            WHEN kind = 'people' THEN 'put back'
            ELSE 'corrected' END AS event
        FROM compared WHERE number > $after
    )
    SELECT number, event, CASE WHEN kind = 'time_entries' AND event = 'taken back' THEN substr(reason, 1 + length('taken back: ')) ELSE reason END AS reason FROM events
) AS told WHERE told.number = history.number;
