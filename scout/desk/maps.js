// What stands beside the plan: the boundaries as they were brought, and in frames what a search found and a view.

import { byId } from "./elements.js";

const L = window.L;
const LEVELS = { field: 20, square: 2, subsquare: 1 / 12, extended: 1 / 120, fifth: 1 / 2880 }; // degrees of longitude
const APART_PX = 12;
let map = null;
let parks = null;
let ground = null;
let homeLayer = null;
let lattice = null;
const drawn = { picture: null, ground: [], home: null, within: 0 };
let level = "square";
let onHome = () => {};
let onSpot = () => {};
let openAddress = "";
let address = ""; // of the map in the frame
const KEPT_VIEW = "scout desk map";
const LONGEST_KEPT = 1e6;
let fitting = false;

const getColour = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();

export function prepareMaps({ home, spot }) {
  onHome = home;
  onSpot = spot;
  map = L.map("picture", { preferCanvas: true, worldCopyJump: true, minZoom: 1, zoomControl: false });
  L.control.zoom({ position: "topright" }).addTo(map);
  L.control.scale({ position: "bottomright" }).addTo(map);
  lattice = L.layerGroup().addTo(map);
  ground = L.layerGroup().addTo(map);
  parks = L.featureGroup().addTo(map);
  homeLayer = L.layerGroup().addTo(map);
  map.setView([20, 0], 2);
  map.on("moveend", drawLattice);
  map.on("click", (event) => {
    const at = event.latlng.wrap();
    onHome(`${at.lat.toFixed(5)}, ${at.lng.toFixed(5)}`);
  });
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
  new ResizeObserver(() => {
    map.invalidateSize();
    fitBoundaries();
  }).observe(byId("picture"));
  byId("see-parks").addEventListener("click", () => showMap("parks"));
  byId("see-spots").addEventListener("click", () => showMap("spots"));
  byId("see-view").addEventListener("click", () => showMap("view"));
  byId("wider").addEventListener("click", () => {
    const wide = document.body.classList.toggle("wide-stage");
    byId("wider").setAttribute("aria-pressed", wide);
  });
  byId("show-plan").addEventListener("click", () => showMapsOnPhone(false));
  byId("show-stage").addEventListener("click", () => showMapsOnPhone(true));
  byId("spots-map").name = sessionStorage.getItem(KEPT_VIEW) ?? "";
  window.addEventListener("message", hearFrame);
  showMap("parks");
  drawLattice();
}

// The first screen: three doors in place of an empty map.
export function openDoors() {
  document.body.classList.add("at-doors");
  byId("doors").hidden = false;
  byId("no-files").addEventListener("click", () => {
    leaveDoors();
    byId("step-visits").open = true;
    byId("plan").focus();
  });
}

export function leaveDoors() {
  if (byId("doors").hidden) return;
  document.body.classList.remove("at-doors");
  byId("doors").hidden = true;
  byId("plan").focus();
}

export function showMapsOnPhone(stage) {
  const inPlan = byId("plan").contains(document.activeElement);
  document.body.classList.toggle("on-stage", stage);
  byId("show-plan").setAttribute("aria-pressed", !stage);
  byId("show-stage").setAttribute("aria-pressed", stage);
  // Where the plan had the focus, the way back to it has it now.
  if (stage && inPlan && byId("show-plan").offsetParent) byId("show-plan").focus();
}

const STAGES = { parks: "picture", spots: "spots-map", view: "view-page" };

export function showMap(what) {
  for (const [name, id] of Object.entries(STAGES)) {
    byId(id).hidden = name !== what;
    byId(`see-${name}`).setAttribute("aria-pressed", name === what);
  }
  const hint = drawn.picture ? "Click to set home." : "Boundaries that you bring are drawn here.";
  byId("stage-said").textContent = what === "parks" ? hint : "";
}

// The page of what an antenna sees, beside the plan.
export function showView(url) {
  byId("see-view").hidden = false;
  byId("view-page").contentWindow.location.replace(url);
  showMap("view");
}

export function setLevel(name) {
  level = name;
  if (map) drawLattice();
}

export function showParks(picture) {
  const before = JSON.stringify(drawn.picture?.bounds);
  drawn.picture = picture;
  drawParks();
  if (picture && JSON.stringify(picture.bounds) !== before) {
    fitting = true;
    fitBoundaries();
  }
  if (!byId("picture").hidden) showMap("parks");
}

// Once for new boundaries, as soon as there is a map to be seen.
function fitBoundaries() {
  if (!fitting || !byId("picture").clientHeight) return;
  fitting = false;
  const [west, south, east, north] = drawn.picture.bounds;
  map.fitBounds([[south, west], [north, east]], { animate: false, maxZoom: 14, padding: [20, 20] });
}

export function showGround(shapes) {
  drawn.ground = shapes;
  drawGround();
}

export function showHome(at, within) {
  Object.assign(drawn, { home: at, within });
  homeLayer.clearLayers();
  if (!at) return;
  const ink = getColour("ink");
  L.circleMarker(at, { radius: 7, color: ink, weight: 3, fillColor: getColour("card"), fillOpacity: 1, interactive: false }).addTo(homeLayer);
  if (within > 0) L.circle(at, { radius: within * 1000, color: ink, weight: 1, dashArray: "4 4", fill: false, interactive: false }).addTo(homeLayer);
}

function redraw() {
  drawLattice();
  drawParks();
  drawGround();
  showHome(drawn.home, drawn.within);
}

function pairNumbers(flat) {
  const found = [];
  for (let k = 0; k < flat.length; k += 2) found.push([flat[k], flat[k + 1]]);
  return found;
}

function drawParks() {
  parks.clearLayers();
  const look = { color: getColour("accent"), weight: 1.5, fillColor: getColour("accent"), fillOpacity: 0.15 };
  for (const park of drawn.picture?.parks ?? []) {
    const name = document.createElement("bdi");
    name.textContent = park.name;
    L.polygon(park.rings.map(pairNumbers), look).bindTooltip(name, { sticky: true }).addTo(parks);
  }
}

function drawGround() {
  ground.clearLayers();
  const looks = {
    ways: { color: getColour("soft"), weight: 1.5 },
    barriers: { color: getColour("accent"), weight: 1, dashArray: "2 3" },
    "closed areas": { color: getColour("warn"), weight: 1.5, dashArray: "5 3" },
    "places to park": { color: getColour("ink"), radius: 3, weight: 1, fillOpacity: 1 },
  };
  const hazard = { color: getColour("warn"), weight: 2 };
  for (const one of drawn.ground) {
    const line = pairNumbers(one.line);
    const look = { ...(looks[one.what] ?? hazard), interactive: false };
    (line.length === 1 ? L.circleMarker(line[0], { radius: 3, ...look }) : L.polyline(line, look)).addTo(ground);
  }
}

// Lines of the level that is searched, or of the finest coarser one that has room.
function drawLattice() {
  lattice.clearLayers();
  const view = map.getBounds().pad(0.3);
  const pixels = map.getSize().x / (map.getBounds().getEast() - map.getBounds().getWest());
  const names = Object.keys(LEVELS);
  const fits = names.slice(0, names.indexOf(level) + 1).reverse().find((name) => (LEVELS[name] * pixels) / 2 >= APART_PX);
  if (!fits) return;
  const [wide, high] = [LEVELS[fits], LEVELS[fits] / 2];
  const look = { color: getColour("soft"), weight: 1, opacity: 0.65, interactive: false };
  const [south, north] = [Math.max(view.getSouth(), -85), Math.min(view.getNorth(), 85)];
  for (let k = Math.ceil(view.getWest() / wide); k * wide <= view.getEast(); k += 1) {
    L.polyline([[south, k * wide], [north, k * wide]], look).addTo(lattice);
  }
  for (let k = Math.ceil(south / high); k * high <= north; k += 1) {
    L.polyline([[k * high, view.getWest()], [k * high, view.getEast()]], look).addTo(lattice);
  }
}

// The map of a search, with a spot of it open or none.
export function showSpots(url, spot = null) {
  address = url;
  openAddress = spot ? `#spot=${spot}` : "";
  byId("see-spots").disabled = false;
  // Not by src: that would leave every map of the past to the Back button.
  byId("spots-map").contentWindow.location.replace(address + openAddress);
}

export function openOnMap(hash) {
  if (!address || openAddress === hash) return;
  openAddress = hash;
  byId("spots-map").contentWindow.location.href = address + hash;
}

// The map stands in a sandbox: it tells which spot is open and what it wants to be kept, nothing else is heard.
function hearFrame(event) {
  if (event.source !== byId("spots-map").contentWindow) return;
  const { at, kept } = event.data ?? {};
  if (typeof kept === "string" && kept.length < LONGEST_KEPT) {
    try {
      sessionStorage.setItem(KEPT_VIEW, kept);
    } catch {
      // Full: the frame keeps it as long as the tab is not loaded again.
    }
  }
  if (typeof at !== "string" || at === openAddress) return;
  openAddress = at;
  const found = /^#spot=(\d+)$/.exec(at);
  if (found) onSpot(Number(found[1]));
}
