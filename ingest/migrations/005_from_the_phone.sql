-- What phones send, what became of it, and the spells that are begun and not finished.

-- Received as it was said and never changed: a second sending of the same action is known by it.
CREATE TABLE phone_actions (
    action VARCHAR PRIMARY KEY,       -- UUID made on the phone
    phone VARCHAR NOT NULL,           -- UUID of the phone
    number BIGINT NOT NULL,           -- the phone's own count of its actions
    entry VARCHAR NOT NULL,           -- the time entry that it is about
    made_at TIMESTAMP NOT NULL,       -- UTC, the phone's clock put right
    clock_off DOUBLE NOT NULL,        -- seconds to add to the phone's clock, as seen when it sent
    received_at TIMESTAMP NOT NULL,   -- UTC
    said JSON NOT NULL                -- {state, person, row: {column: text}, taps: {column: ms of the phone's clock}, works, split}: the whole entry as it should be
);

-- One row for each action once it is settled; none yet: it waits.
CREATE TABLE phone_outcomes (
    action VARCHAR PRIMARY KEY,
    outcome VARCHAR NOT NULL,         -- saved; overtaken: a later word about the entry stands; refused
    settled_at TIMESTAMP NOT NULL,    -- UTC; the same instant stands in the history of what it changed
    told JSON NOT NULL                -- {faults: [{column, value, reason, mend}], remarks: [the same]}
);

-- Spells begun and not finished; a spell that is finished becomes a time entry. No index: the one writer looks before it stores.
CREATE TABLE spells_in_hand (
    entry VARCHAR NOT NULL,
    object VARCHAR, phase VARCHAR NOT NULL, technique VARCHAR NOT NULL,
    part VARCHAR NOT NULL,            -- empty: the whole object
    person VARCHAR NOT NULL,
    mode VARCHAR NOT NULL, charge VARCHAR NOT NULL,
    discovery BOOLEAN, note VARCHAR,
    in_hand_since TIMESTAMP NOT NULL  -- UTC
);
