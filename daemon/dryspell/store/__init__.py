"""The state, in one SQLite file."""
