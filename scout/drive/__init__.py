"""Driving between places, over the roads of the access data."""
