"""Decide what of a study is not for the public, and in what form it may be told instead."""
