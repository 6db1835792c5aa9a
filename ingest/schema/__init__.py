"""The CSV forms: their columns and how each cell is read."""
