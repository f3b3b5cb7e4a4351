"""What an antenna sees: the horizon round a place, the line to another, both over heights."""
