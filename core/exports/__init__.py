"""Decide how what the study knows is laid out for others to read."""
