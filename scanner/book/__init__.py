"""What the company knows: read, checked, and told where it is faulty."""
