CREATE OR REPLACE TEMP TABLE candidates AS
    SELECT w.*, a.number, a.said, a.logs_for
    FROM (
        SELECT *, row_number() OVER (PARTITION BY entry ORDER BY word DESC) AS rank FROM words
        JOIN (
            SELECT entry, max(word) FILTER (waiting) AS latest FROM words
            GROUP BY entry HAVING bool_or(waiting)
        ) USING (entry)
        WHERE waiting
        QUALIFY len(string_split(entry, '{share}')) = min(
            len(string_split(entry, '{share}'))
        ) OVER (PARTITION BY spell)
    ) AS w
    JOIN phone_actions AS a ON a.action = w.action
    LEFT JOIN (
        SELECT entry, count(*) AS refused FROM words
        JOIN (
            SELECT entry, max(word) FILTER (waiting) AS latest FROM words GROUP BY entry
        ) USING (entry)
        WHERE outcome = 'refused' AND word > latest GROUP BY entry
    ) AS r ON r.entry = w.entry
    WHERE w.rank <= 1 + coalesce(r.refused, 0) ORDER BY w.rank, w.word LIMIT {most_candidates}
