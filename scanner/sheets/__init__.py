"""Sheets that people read and fill in: what their columns are, one reader of csv, xlsx and ods, one writer of csv and xlsx."""
