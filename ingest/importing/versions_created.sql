CREATE OR REPLACE TEMP TABLE versions AS
    WITH new AS (
        SELECT object, version, min("row") AS "row", any_value(made_on) AS made_on,
            max(approved_on) AS approved_on, count(*) AS lines,
            max(option) FILTER (approved_on IS NOT NULL) AS approved_option,
            any_value(reason) AS reason, any_value(price) AS price, any_value(currency) AS currency,
            any_value(tax_in_price) AS tax_in_price, any_value(tax_per_cent) AS tax_per_cent
        FROM resolved
        WHERE {untouched} GROUP BY object, version
    )
    SELECT new.*, v.approved_on AS held_approved_on,
        CASE
            WHEN new.price IS NOT DISTINCT FROM v.price THEN coalesce(new.tax_in_price, v.tax_in_price)
            ELSE new.tax_in_price
        END AS known_in_price,
        CASE
            WHEN new.price IS NOT DISTINCT FROM v.price THEN coalesce(new.tax_per_cent, v.tax_per_cent)
            ELSE new.tax_per_cent
        END AS known_per_cent
    FROM new LEFT JOIN estimate_versions AS v USING (object, version)
