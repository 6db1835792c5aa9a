-- The lines of works, with what bears on their hours; studio time is on no work and teaches nothing.
SELECT l.line, l.object, l.phase, l.technique, l.part, coalesce(t.unit, '') AS unit, coalesce(o.kind, '') AS kind,
    CASE t.condition WHEN 'structure' THEN o.structure_condition WHEN 'paint' THEN o.paint_condition WHEN 'surface' THEN o.surface_condition END AS condition,
    a.area_dm2
FROM lines AS l JOIN objects AS o ON o.object = l.object JOIN object_areas AS a ON a.object = l.object LEFT JOIN techniques AS t ON t.technique = l.technique
ORDER BY l.object, l.phase, l.technique, l.part
