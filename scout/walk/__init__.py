"""The way to a place: OpenStreetMap's tags, the network, terrain, routes, hazards."""
