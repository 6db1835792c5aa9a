-- The works, with what bears on what may turn up on them, and on which of them are like another.
SELECT o.object, o.kind, o.support, a.area_dm2, o.structure_condition::DOUBLE AS structure_condition, o.paint_condition::DOUBLE AS paint_condition,
    o.surface_condition::DOUBLE AS surface_condition
FROM objects AS o JOIN object_areas AS a USING (object) ORDER BY o.object
