-- A phase as a whole and the work as a whole can have a pinned rate, as a technique can.

-- Of which phase as a whole a pin is whose technique is empty; empty too: of the work as a whole. Of a technique it stays empty, as its rate is the same in any phase.
ALTER TABLE pinned_rates ADD COLUMN phase VARCHAR DEFAULT '';
ALTER TABLE pinned_rates ALTER COLUMN phase SET NOT NULL;
