"""Beds: bands, setbacks, beds, their measures, names and cautions."""
