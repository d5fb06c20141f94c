"""Lots: features gathered by site, frontage, lawn."""
