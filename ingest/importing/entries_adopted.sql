CREATE OR REPLACE TEMP TABLE adopted AS
    SELECT n."row", n.entry, held.entry AS unnamed
    FROM (
        SELECT r."row", r.entry, r.content,
            row_number() OVER (PARTITION BY r.content ORDER BY r."row") AS rank
        FROM resolved AS r
        WHERE r.entry IS NOT NULL AND {from_file} AND {untouched_r}
            AND r."row" NOT IN (SELECT "row" FROM corrections)
    ) AS n
    JOIN (
        SELECT entry, content, row_number() OVER (PARTITION BY content ORDER BY entry) AS rank
        FROM spells
        WHERE starts_with(entry, {name_of_content})
            AND content IN (SELECT content FROM resolved WHERE entry IS NOT NULL)
    ) AS held ON held.content = n.content AND held.rank = n.rank
