// Parks: a tint that deepens where they overlap, an outline each, hatching where two or more overlap, and
// names where there is room.

const parkCanvas = canvasPane("parks", 400);
const parkAreas = L.layerGroup();
const parkNames = L.layerGroup();
const parkNamePane = scout_map.createPane("park-names");
parkNamePane.style.zIndex = 440;
parkNamePane.style.pointerEvents = "none";
parkNamePane.setAttribute("aria-hidden", "true");

const parks = findings.parks.map((park) => {
  const area = L.polygon(drawnPolygons(park.outline, findings.outlineUnitsPerDegree), {
    renderer: parkCanvas,
    interactive: false,
  });
  return { id: park.id, name: park.name, kind: park.kind, at: place(park.at), area, bounds: area.getBounds() };
});

const overlaps = Object.entries(findings.overlaps).map(([depth, outline]) => ({
  crossed: depth === "more",
  area: L.polygon(drawnPolygons(outline, findings.unitsPerDegree), {
    renderer: parkCanvas,
    interactive: false,
    stroke: false,
  }),
}));

// Large parks first, so that a small one inside keeps its outline on top.
const reach = (park) => park.bounds.getNorthEast().lat - park.bounds.getSouthWest().lat;
[...parks].sort((a, b) => reach(b) - reach(a)).forEach((park) => park.area.addTo(parkAreas));
overlaps.forEach((overlap) => overlap.area.addTo(parkAreas));

painted(() => {
  for (const park of parks) {
    park.area.setStyle({
      color: colour("park-edge"),
      weight: 1.4,
      // A corridor has no surveyed edge: its outline is broken.
      dashArray: park.kind === "corridor" ? "5 4" : null,
      fillColor: colour("park"),
      fillOpacity: Number(colour("park-strength")),
    });
  }
  for (const overlap of overlaps) {
    overlap.area.setStyle({ fillColor: hatching(overlap.crossed, colour("park-hatch")), fillOpacity: 0.5 });
  }
});

function drawParkNames() {
  parkNamePane.replaceChildren();
  if (!scout_map.hasLayer(parkNames)) return;
  const taken = markBoxes();
  for (const park of parks) {
    const low = scout_map.latLngToContainerPoint(park.bounds.getSouthWest());
    const high = scout_map.latLngToContainerPoint(park.bounds.getNorthEast());
    const width = Math.min(high.x - low.x, 190);
    if (width < 70 || low.y - high.y < 30) continue;
    const box = freeBox(park, width, taken);
    if (!box) continue;
    taken.push(box);
    const node = element("bdi", "park-name leaflet-zoom-hide", park.name || park.id);
    node.style.maxWidth = `${width}px`;
    L.DomUtil.setPosition(node, scout_map.containerPointToLayerPoint(box.getCenter()));
    parkNamePane.append(node);
  }
}

// Room for a name: at the park's own place or a little above or below, inside it, clear of what is taken.
function freeBox(park, width, taken) {
  const at = scout_map.latLngToContainerPoint(park.at);
  const view = L.bounds([0, 0], scout_map.getSize());
  for (const shift of [0, 30, -40, 60, -70]) {
    const centre = at.add([0, shift]);
    const box = L.bounds(centre.subtract([width / 2, 14]), centre.add([width / 2, 14]));
    if (!view.contains(centre) || taken.some((other) => other.intersects(box))) continue;
    if (shift === 0 || holds(park, scout_map.containerPointToLatLng(centre))) return box;
  }
  return null;
}

function crosses(lat, lng, a, b) {
  return a.lat > lat !== b.lat > lat && lng < ((b.lng - a.lng) * (lat - a.lat)) / (b.lat - a.lat) + a.lng;
}

// Whether a point lies inside the outline as it is drawn (even-odd over shells and holes).
function holds(park, at) {
  if (!park.bounds.contains(at)) return false;
  let inside = false;
  for (const corners of park.area.getLatLngs().flat()) {
    corners.forEach((corner, i) => {
      if (crosses(at.lat, at.lng, corner, corners[(i + 1) % corners.length])) inside = !inside;
    });
  }
  return inside;
}

function tellParks(at) {
  const here = parks.filter((park) => holds(park, at));
  const list = element("ul", "parks-here");
  for (const park of here) {
    const row = element("li");
    row.append(element("bdi", "", park.name || "(no name)"), " ", element("bdi", "park-id", park.id));
    list.append(row);
  }
  const level = findings.level;
  const cell = locatorOf(columnAt(at.lng, level), rowAt(at.lat, level), level);
  const box = element("div");
  const drawn = here.length ? "by the outline as drawn" : "outside the parks drawn here";
  const check = element("button", "", "Check this place");
  check.type = "button";
  check.addEventListener("click", () => pressOnMap(at));
  box.append(list, element("p", "parks-here-cell", `in ${cell}, ${drawn}`), check);
  L.popup({ maxWidth: 260, autoPanPadding: [20, 20] }).setLatLng(at).setContent(box).openOn(scout_map);
}

scout_map.on("moveend viewreset resize", drawParkNames);
scout_map.on("click", (event) => {
  if (measuring) measurePlace(event.latlng);
  else if (checking) pressOnMap(event.latlng);
  else if (scout_map.hasLayer(parkAreas)) tellParks(event.latlng);
});
