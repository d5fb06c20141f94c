"""Sheets that people read and fill in: what their columns are, one reader and one writer of csv and xlsx."""
