-- What is written on a page and not saved yet, so that a reload or another page in between loses nothing.
CREATE TABLE unsaved (
    what VARCHAR PRIMARY KEY,         -- a new work; the rejected rows of a file: words of the page that keeps it
    kept_at TIMESTAMP NOT NULL,       -- UTC, of the last cell
    said JSON NOT NULL
);
