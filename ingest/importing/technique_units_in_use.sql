(
    SELECT r."row", r.technique, t.unit AS held,
        (
            SELECT count(*) FROM time_entries AS e
            WHERE e.technique = r.technique AND e.quantity IS NOT NULL
        ) AS used,
        (
            SELECT count(*) FROM estimate_lines AS e
            WHERE e.technique = r.technique AND e.quantity IS NOT NULL
        ) AS estimated
    FROM resolved AS r JOIN techniques AS t USING (technique)
    WHERE t.unit IS NOT NULL AND (r.unit <> t.unit OR list_contains(r.emptied, 'unit'))
)
