"""Records become parks, and parks are loaded as a search needs them."""
