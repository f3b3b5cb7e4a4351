// Spots as numbered marks (shape tells the kind, filling the verdict), and what lies around them: stretches,
// exact corners, the way to a missed park, the station's disc, home.

const SVG = "http://www.w3.org/2000/svg";
const MARK = { width: 34, height: 46, tip: 45 };

const lineCanvas = canvasPane("lines", 420);
const stretches = L.layerGroup();
const corners = L.layerGroup();
const misses = L.layerGroup();
const homeLayer = L.layerGroup();
const discs = L.layerGroup();

function svg(name, attributes, text) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  return node;
}

function markPicture(spot) {
  const picture = svg("svg", { viewBox: `0 0 ${MARK.width} ${MARK.height}`, "aria-hidden": "true" });
  const badge = svg("g", { class: "badge" });
  badge.append(
    svg("path", { class: "stem", d: "M17 30V45" }),
    svg("circle", { class: "tip", cx: 17, cy: 45, r: 2.6 }),
    svg("use", { href: `#shape-${spot.kind}`, width: 34, height: 34 }),
    svg("text", { x: 17, y: spot.kind === "near-miss" ? 25 : 21.2, class: "number" }, spot.rank),
  );
  const small = { x: 10, y: 38, width: 14, height: 14 };
  const speck = svg("use", { class: "speck", href: `#shape-${spot.kind}`, ...small });
  picture.append(badge, speck);
  return picture;
}

function markLabel(spot) {
  return byId(`spot=${spot.rank}`).querySelector(".row-name").textContent.trim();
}

function makeMark(spot) {
  const mark = L.marker(spot.at, {
    icon: L.divIcon({
      html: markPicture(spot),
      className: `mark ${spot.look}`,
      iconSize: [MARK.width, MARK.height],
      iconAnchor: [MARK.width / 2, MARK.tip],
    }),
    riseOnHover: true,
    keyboard: true,
  });
  mark.on("click", () => openSpot(spot.rank));
  mark.on("add", () => {
    const icon = mark.getElement();
    icon.dataset.rank = spot.rank;
    icon.setAttribute("aria-label", markLabel(spot));
    icon.addEventListener("keydown", (event) => {
      if (event.key === "Enter" || event.key === " ") {
        event.preventDefault();
        event.stopPropagation();
        openSpot(spot.rank);
      }
    });
    dressMark(spot);
  });
  return mark;
}

function makeAround(spot) {
  const plain = { renderer: lineCanvas, interactive: false, smoothFactor: 0, lineCap: "round" };
  spot.around = L.layerGroup();
  spot.casings = spot.lines.map((ends) => L.polyline(places(ends), plain).addTo(spot.around));
  spot.strokes = spot.lines.map((ends) => L.polyline(places(ends), plain).addTo(spot.around));
  spot.way = spot.miss ? L.polyline(places(spot.miss), { ...plain, lineCap: "butt" }) : null;
  spot.disc = L.circle(spot.at, { ...plain, radius: findings.stationRadius });
  spot.cross = spot.corner ? ornament(place(spot.corner), crossIcon()) : null;
}

// A picture on the map that takes no part: nothing to press, nothing to reach by keyboard.
function ornament(at, icon) {
  return L.marker(at, { icon, interactive: false, keyboard: false, zIndexOffset: -1e7 });
}

function crossIcon() {
  const picture = svg("svg", { viewBox: "-10 -10 20 20", "aria-hidden": "true" });
  picture.append(
    svg("path", { class: "cross-case", d: "M-8 0H8M0 -8V8" }),
    svg("path", { class: "cross", d: "M-8 0H8M0 -8V8" }),
  );
  return L.divIcon({ html: picture, className: "corner-cross", iconSize: [20, 20] });
}

// Spots beyond the edge of a Mercator map stay in the list, which says so.
const spots = findings.spots.map((raw) => {
  const spot = { ...raw, at: place(raw.at), units: raw.at, shown: true };
  spot.drawn = Math.abs(spot.at[0]) <= findings.mapEdge;
  spot.mark = makeMark(spot);
  makeAround(spot);
  return spot;
});

function spotOf(rank) {
  return spots.find((spot) => spot.rank === rank);
}

function put(layer, group, wanted) {
  if (!layer || group.hasLayer(layer) === wanted) return;
  if (wanted) group.addLayer(layer);
  else group.removeLayer(layer);
}

const markLayer = L.layerGroup();

// Bring the map in line with the list: a spot filtered out takes all that belongs to it away.
function showSpots() {
  for (const spot of spots) {
    const wanted = spot.shown && spot.drawn;
    put(spot.mark, markLayer, wanted);
    put(spot.around, stretches, wanted);
    put(spot.cross, corners, wanted);
    put(spot.way, misses, wanted);
    put(spot.disc, discs, wanted);
  }
  thinMarks();
  drawParkNames();
}

// Marks that would cover a better-ranked one shrink to a speck until there is room.
function thinMarks() {
  const kept = [];
  const first = chosen ? [chosen] : [];
  for (const spot of [...first, ...spots.filter((other) => other !== chosen)]) {
    if (!spot.shown || !spot.drawn) continue;
    const at = scout_map.project(spot.at);
    spot.speck = kept.some((other) => Math.abs(other.x - at.x) < 26 && Math.abs(other.y - at.y) < 30);
    if (!spot.speck) kept.push(at);
    dressMark(spot);
  }
}

// Where the marks stand, for whatever must keep clear of them.
function markBoxes() {
  return spots
    .filter((spot) => spot.shown && spot.drawn && !spot.speck)
    .map((spot) => scout_map.latLngToContainerPoint(spot.at))
    .map((at) => L.bounds(at.subtract([17, 46]), at.add([17, 4])));
}

function dressMark(spot) {
  const icon = spot.mark.getElement();
  if (!icon) return;
  icon.classList.toggle("small", Boolean(spot.speck));
  icon.classList.toggle("chosen", spot === chosen);
  if (spot === chosen) icon.setAttribute("aria-current", "true");
  else icon.removeAttribute("aria-current");
  const above = spot === chosen ? 2e6 : spot.speck ? 0 : 1e6;
  spot.mark.setZIndexOffset(above + (spots.length - spot.rank) * 10);
}

function homeIcon() {
  const picture = svg("svg", { viewBox: "0 0 30 30", "aria-hidden": "true" });
  picture.append(
    svg("path", { class: "house", d: "M15 4 27 14.5H23.5V26H6.5V14.5H3Z" }),
    svg("path", { class: "door", d: "M12.5 26V18.5h5V26Z" }),
  );
  return L.divIcon({ html: picture, className: "home-mark", iconSize: [30, 30] });
}

let homeCircle = null;
if (findings.home) {
  ornament(place(findings.home.at), homeIcon()).addTo(homeLayer);
  if (findings.home.circle) {
    const plain = { renderer: lineCanvas, interactive: false, fill: false };
    homeCircle = L.polygon(places(findings.home.circle), plain).addTo(homeLayer);
  }
}

painted(() => {
  for (const spot of spots) {
    spot.casings.forEach((line) => line.setStyle({ color: colour("case"), weight: 6, opacity: 0.9 }));
    spot.strokes.forEach((line) => line.setStyle({ color: colour("stretch"), weight: 3 }));
    if (spot.way) spot.way.setStyle({ color: colour("miss"), weight: 2, dashArray: "2 4" });
    spot.disc.setStyle({ color: colour("ink"), weight: 1.5, fillColor: colour("case"), fillOpacity: 0.45 });
  }
  if (homeCircle) {
    homeCircle.setStyle({ color: colour("home"), weight: 1.6, dashArray: "1 6", lineCap: "round" });
  }
});

scout_map.on("zoomend", () => {
  thinMarks();
  showFineDetail();
});

// Corners and discs are metres across: only close views can show them.
function showFineDetail() {
  put(discs, scout_map, scout_map.getZoom() >= 14);
  scout_map.getContainer().classList.toggle("far", scout_map.getZoom() < 9);
}
