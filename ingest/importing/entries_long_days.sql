(
    SELECT n."row", n.person, d.hours
    FROM (
        SELECT min("row") AS "row", person, day FROM resolved
        WHERE total IS NULL AND {untouched} GROUP BY person, day
    ) AS n
    JOIN (
        SELECT s.person, s.day, sum(coalesce(c.counted_hours, s.counted_hours)) AS hours
        FROM spells_to_be AS s SEMI JOIN touched AS t ON t.person = s.person AND t.day = s.day
        LEFT JOIN recounted AS c ON c.id = s.id
        GROUP BY s.person, s.day
        HAVING sum(coalesce(c.counted_hours, s.counted_hours)) > {longest_spell_hours}
    ) AS d ON d.person = n.person AND d.day = n.day
)
