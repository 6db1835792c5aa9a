-- What safe keeping needs: a note of each backup, and numbers that do not live outside the tables.

-- Backups that were made of this file, and where each was written.
CREATE TABLE backups (
    made_at TIMESTAMP NOT NULL,       -- UTC
    file VARCHAR NOT NULL,            -- where it was written
    works BIGINT NOT NULL, entries BIGINT NOT NULL  -- how many it holds
);

-- Numbers follow the highest held. A sequence would stay where it is when a backup is brought back, and give a number twice.
ALTER TABLE lines ALTER line DROP DEFAULT;
DROP SEQUENCE line_number;
ALTER TABLE history ALTER number DROP DEFAULT;
DROP SEQUENCE history_number;
ALTER TABLE imports ALTER number DROP DEFAULT;
DROP SEQUENCE import_number;
