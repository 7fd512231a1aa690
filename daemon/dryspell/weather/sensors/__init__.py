"""Sensors: one file a way in which readings arrive, and what a reading is."""
