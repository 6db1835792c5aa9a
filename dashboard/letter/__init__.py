"""The quote as a letter: what it says, on paper (PDF) and as a page (HTML)."""
