"""Decide what outcomes say together: the ledger, trays used, pairs, tests, models, visit rates.

Every result is a frozen row that carries its n and its choice; what cannot be told is
`Undefined`, with the reason in words. Open a module by its name; `whole` runs them all.
"""
