"""A recording's fixes become a position with its error, and an arrival."""
