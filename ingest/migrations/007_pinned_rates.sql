-- Rates that the principal has pinned, beside what the record says.

-- A pin that is replaced or withdrawn stays with its days, so that it can be told what was used on any day.
CREATE TABLE pinned_rates (
    technique VARCHAR NOT NULL,
    rate DOUBLE NOT NULL,             -- hours per unit of the technique, or per line where it has none
    unit VARCHAR,                     -- of the technique when it was pinned; where that is another now, the pin is out of use
    reason VARCHAR NOT NULL,
    pinned_on DATE NOT NULL,          -- of the studio's calendar
    pinned_by VARCHAR,
    withdrawn_on DATE                 -- from this day it counts no more; null: it stands
);
