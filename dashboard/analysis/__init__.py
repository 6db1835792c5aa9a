"""Pure computation on frames and arrays: no database, no page."""
