"""The working store: lots in the order of a curve, tables on disk, and both cores at work."""
