// Everything is defined: put it on the map, find the first view, open what the address names.

scout_map.attributionControl.setPrefix(false);
L.control.zoom({ position: "topright" }).addTo(scout_map);
L.control.scale({ position: "bottomright", maxWidth: 130 }).addTo(scout_map);

function firstView() {
  const drawn = spots.filter((spot) => spot.drawn).map((spot) => spot.at);
  if (home) drawn.push(place(findings.home.at));
  const bounds = L.latLngBounds(drawn.length ? drawn : parks.flatMap((park) => [park.bounds.getSouthWest(), park.bounds.getNorthEast()]));
  if (!bounds.isValid()) scout_map.setView([20, 0], 2, { animate: false });
  else scout_map.fitBounds(bounds, { padding: [46, 54], maxZoom: 12, animate: false });
}

if (window.matchMedia("(max-width: 719px)").matches) {
  byId("filter-box").open = false;
  byId("key").open = false;
}

firstView();
markLayer.addTo(scout_map);
boxes.forEach(applySwitch);
applyOrder();
applyFilters();
showFineDetail();
repaint();
painted(drawLattice);
follow();
