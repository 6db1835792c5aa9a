-- whether the line had been worked on is stored as it was on the day of the quote
INSERT INTO quoted_lines
SELECT ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?,
    EXISTS (
        SELECT 1 FROM spells AS s JOIN lines AS l ON l.line = s.line
        WHERE l.object = ? AND l.phase = ? AND l.technique = ? AND l.part = ? AND s.charge <> 'own_cost'
    ),
    ?, ?, ?, ?, ?, ?
