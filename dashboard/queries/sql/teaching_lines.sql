-- The lines of works, with what bears on their hours; studio time is on no work and teaches nothing.
SELECT l.line, l.object, l.phase, l.technique, l.part, coalesce(o.remembered, false) AS remembered, CASE WHEN l.technique <> '' THEN coalesce(t.unit, '') WHEN remembered THEN 'remembered' ELSE 'whole' END AS unit, coalesce(o.kind, '') AS kind,
    list_avg([o.structure_condition, o.paint_condition, o.surface_condition]) AS whole_condition,
    CASE WHEN l.technique = '' THEN whole_condition ELSE CASE t.condition WHEN 'structure' THEN o.structure_condition WHEN 'paint' THEN o.paint_condition WHEN 'surface' THEN o.surface_condition END END AS condition,
    a.area_dm2
FROM lines AS l JOIN objects AS o ON o.object = l.object JOIN object_areas AS a ON a.object = l.object LEFT JOIN techniques AS t ON t.technique = l.technique
ORDER BY l.object, l.phase, l.technique, l.part
