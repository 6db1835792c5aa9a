SELECT spell, entry, in_hand, person, mode, line, since, last_day
FROM (
    SELECT entry, {spell_of_entry} AS spell, true AS in_hand, person, mode,
        (object, phase, technique, part, charge, coalesce(discovery, false)) AS line,
        in_hand_since AS since, NULL AS last_day
    FROM spells_in_hand
    UNION ALL
    SELECT e.entry, {spell_of_e_entry}, false, e.person, e.mode,
        (e.object, e.phase, e.technique, e.part, e.charge, coalesce(e.discovery, false)),
        e.started_at, greatest(e.day, timezone(?, timezone('UTC', e.ended_at))::DATE)
    FROM time_entries AS e
)
SEMI JOIN turn USING (spell)
