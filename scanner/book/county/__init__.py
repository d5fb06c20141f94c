"""Lots from open county and city layers: read, matched with clients, cut to what their sites need."""
