"""Files to records and back: formats, coordinate systems, indexes, safe writing."""
