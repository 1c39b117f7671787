"""Decide how results are drawn: charts are returned, never shown or saved.

Every figure has the rows that it is drawn from, and says in words what it shows.
"""
