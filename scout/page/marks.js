// Spots as numbered marks (shape tells the kind, filling the verdict), and what lies around them: stretches,
// exact corners, the way to a missed park, the station's disc, home.

const MARK = { width: 34, height: 46, tip: 45 };
const MOST_SPECKS = 300; // as elements of their own; more are dots on a canvas, which a phone can draw

const lineCanvas = canvasPane("lines", 420);
const dotCanvas = canvasPane("dots", 430);
const stretches = L.layerGroup();
const corners = L.layerGroup();
const misses = L.layerGroup();
const homeLayer = L.layerGroup();
const discs = L.layerGroup();
const dots = L.layerGroup();

function markPicture(spot) {
  const picture = svg("svg", { viewBox: `0 0 ${MARK.width} ${MARK.height}`, "aria-hidden": "true" });
  const badge = svg("g", { class: "badge" });
  badge.append(
    svg("path", { class: "stem", d: "M17 30V45" }),
    svg("circle", { class: "tip", cx: 17, cy: 45, r: 2.6 }),
    svg("use", { href: `#shape-${spot.kind}`, width: 34, height: 34 }),
    svg("text", { x: 17, y: spot.kind === "near-miss" ? 25 : 21.2, class: "number" }, spot.rank),
  );
  if (outOfReach(spot)) badge.append(...barAcross());
  const small = { x: 10, y: 38, width: 14, height: 14 };
  const speck = svg("use", { class: "speck", href: `#shape-${spot.kind}`, ...small });
  picture.append(badge, speck);
  return picture;
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
    icon.setAttribute("aria-label", spotName(spot));
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

function put(layer, group, wanted) {
  if (!layer || group.hasLayer(layer) === wanted) return;
  if (wanted) group.addLayer(layer);
  else group.removeLayer(layer);
}

const markLayer = L.layerGroup();
const plainLine = { renderer: lineCanvas, interactive: false, smoothFactor: 0, lineCap: "round", fill: false };
const casings = L.polyline([], plainLine).addTo(stretches);
const strokes = L.polyline([], plainLine).addTo(stretches);
const missWays = L.polyline([], { ...plainLine, lineCap: "butt" }).addTo(misses);

// Bring the map in line with the list: a spot filtered out takes all that belongs to it away.
function showSpots() {
  const shown = spots.filter((spot) => spot.shown && spot.drawn);
  const lines = shown.flatMap((spot) => spot.stretches.map((stretch) => places(stretch.slice(0, 4))));
  casings.setLatLngs(lines);
  strokes.setLatLngs(lines);
  missWays.setLatLngs(shown.filter((spot) => spot.near).map((spot) => [spot.at, place(spot.near.to)]));
  thinMarks();
  showFineDetail();
  drawWalks();
  drawCars();
  drawParkNames();
}

// Marks that would cover a better-ranked one shrink to a speck until there is room.
function thinMarks() {
  const taken = new Map();
  let specks = 0;
  const first = chosen ? [chosen] : [];
  for (const spot of [...first, ...spots.filter((other) => other !== chosen)]) {
    const wanted = spot.shown && spot.drawn;
    if (wanted) spot.speck = !takeRoom(taken, scout_map.project(spot.at));
    const asDot = wanted && spot.speck && (specks += 1) > MOST_SPECKS;
    if (wanted && !asDot) spot.mark ??= makeMark(spot);
    put(spot.mark, markLayer, wanted && !asDot);
    showDot(spot, asDot);
    if (wanted && !asDot) dressMark(spot);
  }
}

// Whether no mark stands nearer than a mark's size; if so it is taken. Marks are kept by cells of that size.
function takeRoom(taken, at) {
  const [wide, tall] = [26, 30];
  const [i, j] = [Math.floor(at.x / wide), Math.floor(at.y / tall)];
  for (const di of [-1, 0, 1]) {
    for (const dj of [-1, 0, 1]) {
      const near = taken.get(`${i + di} ${j + dj}`);
      if (near && Math.abs(near.x - at.x) < wide && Math.abs(near.y - at.y) < tall) return false;
    }
  }
  taken.set(`${i} ${j}`, at);
  return true;
}

function showDot(spot, wanted) {
  if (wanted && !spot.dot) {
    const style = { renderer: dotCanvas, interactive: false, radius: 3.2, weight: 1.2, color: colour("case") };
    spot.dot = L.circleMarker(spot.at, { ...style, fillColor: colour("firm"), fillOpacity: 1 });
  }
  put(spot.dot, dots, wanted);
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
  casings.setStyle({ color: colour("case"), weight: 6, opacity: 0.9 });
  strokes.setStyle({ color: colour("stretch"), weight: 3 });
  missWays.setStyle({ color: colour("miss"), weight: 2, dashArray: "2 4" });
  dots.eachLayer((dot) => dot.setStyle({ color: colour("case"), fillColor: colour("firm") }));
  discs.eachLayer((disc) => disc.setStyle(discStyle()));
  if (homeCircle) {
    homeCircle.setStyle({ color: colour("home"), weight: 1.6, dashArray: "1 6", lineCap: "round" });
  }
});

function discStyle() {
  return { color: colour("ink"), weight: 1.5, fillColor: colour("case"), fillOpacity: 0.45 };
}

scout_map.on("zoomend", thinMarks);
scout_map.on("moveend", showFineDetail);

// Corners and discs are metres across: only close views can show them.
function showFineDetail() {
  const zoom = scout_map.getZoom();
  const view = scout_map.getBounds().pad(0.2);
  discs.clearLayers();
  corners.clearLayers();
  for (const spot of spots) {
    if (zoom < 9 || !spot.shown || !spot.drawn || !view.contains(spot.at)) continue;
    if (spot.corner) ornament(place(spot.corner), crossIcon()).addTo(corners);
    if (zoom < 14) continue;
    L.circle(spot.at, { ...plainLine, fill: true, radius: findings.stationRadius, ...discStyle() }).addTo(discs);
  }
}
