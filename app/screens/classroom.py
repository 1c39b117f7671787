"""The Class page."""
