"""A day with several places: which of them, in which order, with times."""
