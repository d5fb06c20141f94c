"""What lies round a lot's turf: streets and fronts, corners, limits, and what to mind there."""
