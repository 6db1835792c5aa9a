"""Rows in, from any door: read, checked, stored, and what became of each."""
