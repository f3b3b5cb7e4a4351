"""scout finds the spots where Maidenhead grid squares and parks meet."""

__version__ = "0.1.0"
