"""Edges: house faces, lawn-to-hardscape edges, drives that nobody drew."""
