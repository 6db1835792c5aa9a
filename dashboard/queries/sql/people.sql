-- The people of the studio, with what is logged under each name.
SELECT p.person, p.left_on::TIMESTAMP AS left_on, coalesce(s.entries, 0) AS entries, coalesce(s.hours, 0) AS hours, s.first_day::TIMESTAMP AS first_day, s.last_day::TIMESTAMP AS last_day,
    coalesce(w.spellings, '') AS spellings
FROM people AS p
LEFT JOIN (SELECT person, count(*) AS entries, sum(counted_hours) AS hours, min(day) AS first_day, max(day) AS last_day FROM spells GROUP BY person) AS s ON s.person = p.person
LEFT JOIN (SELECT person, string_agg(written, ', ' ORDER BY written) AS spellings FROM person_spellings WHERE written <> person GROUP BY person) AS w ON w.person = p.person
ORDER BY p.left_on IS NOT NULL, p.person
