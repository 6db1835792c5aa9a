"""Changes made on pages: corrections, drafts, quotes, pinned rates."""
