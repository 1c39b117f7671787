"""Decide what an archive of a study holds, and whether one is whole."""
