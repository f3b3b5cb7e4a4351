"""Brindlesay, the invented island of the demo: how its ground, parks and ways are drawn."""
