"""Sentences and HTML made of figures, alike for pages, commands and letters."""
