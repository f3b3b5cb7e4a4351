"""Records become parks, and parks are taken as a search needs them."""
