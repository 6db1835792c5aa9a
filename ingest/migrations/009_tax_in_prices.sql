-- Whether tax is in the price of a version, and at how many per cent. Null: nobody has said; what the studio says of such prices holds (settings prices_include_tax, prices_tax_per_cent).

ALTER TABLE estimate_versions ADD COLUMN tax_in_price BOOLEAN;
ALTER TABLE estimate_versions ADD COLUMN tax_per_cent DOUBLE;  -- 0: no tax is charged on it

-- A view knows the columns that its table had when it was made.
DROP VIEW standing_versions;
CREATE VIEW standing_versions AS SELECT v.* FROM estimate_versions AS v ANTI JOIN ended_versions AS e ON e.object = v.object AND e.version = v.version;

-- What the price of each version includes: as it stands with it, else, of one that was saved from a quote, as that was reckoned: tax in it, at its own per cent, none where it had none.
-- An export of an earlier form has it with the quote alone.
CREATE VIEW taxed_versions AS
WITH quoted AS (
    SELECT o.object, o.version, coalesce(max((o.stood_on ->> '$.money.tax')::DOUBLE), 0) AS tax
    FROM quoted_options AS o JOIN estimate_versions AS v ON v.object = o.object AND v.version = o.version WHERE v.tax_in_price IS NULL OR v.tax_per_cent IS NULL
    GROUP BY o.object, o.version
)
SELECT v.object, v.version, coalesce(v.tax_in_price, q.tax IS NOT NULL OR NULL) AS tax_in_price, coalesce(v.tax_per_cent, q.tax) AS tax_per_cent
FROM estimate_versions AS v LEFT JOIN quoted AS q ON q.object = v.object AND q.version = v.version;
UPDATE estimate_versions SET tax_in_price = t.tax_in_price, tax_per_cent = t.tax_per_cent
FROM taxed_versions AS t WHERE t.object = estimate_versions.object AND t.version = estimate_versions.version AND t.tax_in_price;
