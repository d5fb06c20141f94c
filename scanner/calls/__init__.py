"""The calls room: chance of a sale, whom to call first and why, whom to leave out."""
