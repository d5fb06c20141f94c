"""What is on record of beds: those of earlier scans, built ones, crews' answers and measured lengths."""
