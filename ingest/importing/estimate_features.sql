SELECT coalesce(bool_or(object IS NULL OR version IS NULL), false),
    coalesce(bool_or(first_head <> last_head), false), coalesce(sum(approvals), 0) > 0,
    coalesce(sum(options), 0) > 0, coalesce(sum(prices), 0) > 0,
    coalesce(bool_or(lines < n), false),
    EXISTS (SELECT 1 FROM resolved SEMI JOIN estimate_versions USING (object, version))
FROM (
    SELECT object, version,
        min(
            hash(made_on, reason, price, currency, tax_in_price, tax_per_cent)
        ) AS first_head,
        max(
            hash(made_on, reason, price, currency, tax_in_price, tax_per_cent)
        ) AS last_head, count(approved_on) AS approvals, count(option) AS options,
        count(price) AS prices,
        len(list_distinct(list(hash(phase, technique, part, option)))) AS lines,
        count(*) AS n
    FROM resolved
    GROUP BY object, version
)
