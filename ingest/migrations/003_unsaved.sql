-- What is written on a page and not saved yet, so that a reload or another page in between loses nothing.
CREATE TABLE unsaved (
    what VARCHAR PRIMARY KEY,         -- a new work; the rejected rows of a file, with a digest of them
    kept_at TIMESTAMP NOT NULL,       -- UTC, of the last cell
    kept_by VARCHAR NOT NULL,         -- the visit it was kept from
    said JSON NOT NULL
);
