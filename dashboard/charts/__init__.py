"""Charts: frames in, Altair out. No chart asks the database."""
