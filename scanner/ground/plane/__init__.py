"""The local plane and what is done with arrays of shapes in it."""
