"""Decide what of a study goes into a package for others, and what comes back from one."""
