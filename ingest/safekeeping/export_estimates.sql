-- Estimates as their form has them: what was approved stands on the rows of the option that was taken, and on those that belong to every option.
SELECT e.object, e.version, v.made_on, CASE WHEN e.option IS NULL OR e.option = v.approved_option THEN v.approved_on END AS approved_on, v.reason, v.price, v.currency, v.tax_in_price, v.tax_per_cent,
    e.phase, e.technique, e.part, e.person, e.quantity, e.unit, e.hours, e.low_hours, e.high_hours, e.unattended_hours, e.option, e.note, p.position
FROM estimate_lines AS e JOIN estimate_versions AS v USING (object, version) LEFT JOIN phases AS p ON p.phase = e.phase
