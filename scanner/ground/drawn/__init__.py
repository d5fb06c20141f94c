"""What is drawn of the ground: shapes of lots and plans, and the curved line of a bed."""
