"""The studio's settings, vocabulary and people."""
