-- Phones and other devices that may come in, the codes that pair them, and what happened at the door.

-- No index on these: a studio has a handful, and the one writer looks before it stores.
CREATE TABLE devices (
    device VARCHAR NOT NULL,          -- UUID
    name VARCHAR NOT NULL,            -- as the principal calls it
    person VARCHAR,                   -- whose, folded as in person_spellings; null: several share it
    role VARCHAR NOT NULL,            -- logs; reviews; principal
    secret VARCHAR NOT NULL,          -- SHA-256, in hex, of the secret that its cookie carries
    paired_at TIMESTAMP NOT NULL,     -- UTC
    seen_at TIMESTAMP NOT NULL,       -- UTC, to some minutes
    revoked_at TIMESTAMP              -- UTC; null: it may come in
);

-- Codes not used yet; one that is used, withdrawn or too old is deleted.
CREATE TABLE pairing_codes (
    code VARCHAR NOT NULL,            -- scrypt of it, in hex
    salt VARCHAR NOT NULL,            -- in hex
    name VARCHAR NOT NULL, person VARCHAR, role VARCHAR NOT NULL,  -- of the device to be
    good_until TIMESTAMP NOT NULL     -- UTC
);

-- What happened at the door, equal things that followed each other as one row.
CREATE TABLE door_events (
    what VARCHAR NOT NULL,
    about VARCHAR NOT NULL,           -- the name of the device, or the network address where none is known
    first_at TIMESTAMP NOT NULL, last_at TIMESTAMP NOT NULL,  -- UTC
    times BIGINT NOT NULL
);

-- From which device an action came, and whom that device logs for; null: anybody.
ALTER TABLE phone_actions ADD COLUMN device VARCHAR;
ALTER TABLE phone_actions ADD COLUMN logs_for VARCHAR;
