"""The form for a phone at the bench: what it shows, what it sends, and how that comes into the record."""
