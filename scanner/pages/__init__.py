"""The pages room: tables to files that people and programs open; nothing is computed here."""
