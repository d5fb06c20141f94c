"""The plane: frame, grid, straight pieces with labels, offsets; all rooms may stand on it."""
