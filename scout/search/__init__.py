"""Places where grids and parks meet: found, judged, ranked; a planned place checked."""
