// Everything is defined: put it on the map, find the first view, open what the address names.

scout_map.attributionControl.setPrefix(false);
L.control.zoom({ position: "topright" }).addTo(scout_map);
L.control.scale({ position: "bottomright", maxWidth: 130 }).addTo(scout_map);

function firstView() {
  const all = spots.filter((spot) => spot.drawn).map((spot) => spot.at);
  if (findings.home) all.push(place(findings.home.at));
  const bounds = L.latLngBounds(all);
  if (!bounds.isValid()) parks.forEach((park) => bounds.extend(park.bounds));
  if (!bounds.isValid()) return; // the map's own first view, the world
  scout_map.fitBounds(bounds, {
    paddingTopLeft: [46, 54],
    paddingBottomRight: [roomForKey(bounds), 46],
    maxZoom: 12,
    animate: false,
  });
}

// The key stays open where the spots fit beside it without a coarser view; else it makes way.
function roomForKey(bounds) {
  const edge = 60;
  if (!key.open) return edge;
  const zoomBeside = (right) => scout_map.getBoundsZoom(bounds, false, L.point(46 + right, 100));
  const beside = key.offsetWidth + 30;
  key.open = zoomBeside(beside) === zoomBeside(edge);
  return key.open ? beside : edge;
}

const key = byId("key");
if (window.matchMedia("(max-width: 719px)").matches) {
  key.open = false;
}

firstView();
recallView();
scout_map.on("moveend", keepView);
showSpots();
keepPicks();
follow();
[markLayer, dots, discs].forEach((layer) => layer.addTo(scout_map));
// What is drawn comes in steps: between two of them the page answers taps and keys.
for (const box of boxes) {
  await breath();
  applySwitch(box);
}
repaints.push(drawLattice, drawWalks); // both are drawn by now
document.documentElement.classList.add("ready");
