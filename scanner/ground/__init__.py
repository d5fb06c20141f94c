"""The ground room: from features on a map to measured beds, in feet."""
