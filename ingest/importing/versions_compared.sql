CREATE OR REPLACE TEMP TABLE compared AS
WITH new AS (
    SELECT e.object, e.version, {as_text} AS as_text FROM resolved AS e {with_keys}
    WHERE {untouched_e} GROUP BY e.object, e.version
),
held AS (
    SELECT e.object, e.version, {as_text} AS as_text, count(*) AS lines
    FROM estimate_lines AS e {with_keys} SEMI JOIN versions USING (object, version)
    GROUP BY e.object, e.version
)
SELECT n.object, n.version, n."row", n.lines, h.lines AS held_lines, n.held_approved_on,
    n.approved_on IS NOT NULL AS approved,
    (
        h.as_text = new.as_text AND v.made_on = n.made_on AND v.reason IS NOT DISTINCT FROM n.reason
        AND v.price IS NOT DISTINCT FROM n.price AND v.currency IS NOT DISTINCT FROM n.currency
    ) AS same_lines,
    (
        v.approved_on IS NOT DISTINCT FROM n.approved_on
        AND v.approved_option IS NOT DISTINCT FROM n.approved_option
    ) AS same_approval,
    -- a file that does not say what a price includes says nothing against what is known of it;
    -- where nothing is known it may say it, of an approved version too
    coalesce(n.tax_in_price = v.tax_in_price, n.tax_in_price IS NULL)
        AND coalesce(n.tax_per_cent = v.tax_per_cent, n.tax_per_cent IS NULL) AS same_tax,
    coalesce(n.tax_in_price = v.tax_in_price, true)
        AND coalesce(n.tax_per_cent = v.tax_per_cent, true) AS agrees,
    {content} AS content
FROM versions AS n JOIN new USING (object, version)
JOIN estimate_versions AS v USING (object, version) LEFT JOIN held AS h USING (object, version)
