"""Everything out, backups, restoring, and whether the record holds together."""
