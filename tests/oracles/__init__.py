"""Brute force, exact arithmetic and other libraries: what the search must agree with.

Nothing in here uses `scout` beyond `scout.model`, so that a mistake there cannot hide itself.
"""
