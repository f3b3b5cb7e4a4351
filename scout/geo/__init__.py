"""Numbers and places: locators, the lattice, the ellipsoid, boundaries, probabilities, coordinates."""
