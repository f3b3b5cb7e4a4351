// Spots as numbered marks (shape tells the kind, filling the verdict), and what lies around them: stretches,
// exact corners, the way to a missed park, the station's disc, home.

import { findings, toLatLng, toLatLngs } from "./findings.js";
import { makeSvg } from "./elements.js";
import { chosen, formatSpotName, isOutOfReach, spots } from "./spots.js";
import { makeBar } from "./rows.js";
import { scoutMap } from "./map.js";
import { getColour, makeCanvasPane, registerPaint } from "./palette.js";

const MARK = { width: 34, height: 46, tip: 45 };
const MOST_SPECKS = 300; // as elements of their own; more are dots on a canvas, which a phone can draw

const lineCanvas = makeCanvasPane("lines", 420);
const dotCanvas = makeCanvasPane("dots", 430);
export const stretches = L.layerGroup();
export const corners = L.layerGroup();
export const misses = L.layerGroup();
export const homeLayer = L.layerGroup();
export const discs = L.layerGroup();
export const dots = L.layerGroup();

// Of the usual size, by the pairs that a contact counts for there.
function computeMarkSize({ pairs }) {
  return Math.min(0.88 + 0.11 * Math.log2(Math.max(pairs, 1)), 1.3);
}

function makeMarkPicture(spot) {
  const picture = makeSvg("svg", { viewBox: `0 0 ${MARK.width} ${MARK.height}`, "aria-hidden": "true" });
  const badge = makeSvg("g", { class: "badge" });
  badge.append(
    makeSvg("path", { class: "stem", d: "M17 30V45" }),
    makeSvg("circle", { class: "tip", cx: 17, cy: 45, r: 2.6 }),
    makeSvg("use", { href: `#shape-${spot.kind}`, width: 34, height: 34 }),
    makeSvg("text", { x: 17, y: spot.kind === "near-miss" ? 25 : 21.2, class: "number" }, spot.rank),
  );
  if (isOutOfReach(spot)) badge.append(...makeBar());
  const small = { x: 10, y: 38, width: 14, height: 14 };
  const speck = makeSvg("use", { class: "speck", href: `#shape-${spot.kind}`, ...small });
  picture.append(badge, speck);
  return picture;
}

// What a press on a mark does: press.js, which owns the presses on the map, says so.
let pressMark = null;
export function setMarkPress(press) {
  pressMark = press;
}

function makeMark(spot) {
  const mark = L.marker(spot.at, {
    icon: L.divIcon({
      html: makeMarkPicture(spot),
      className: `mark ${spot.look}${isOutOfReach(spot) ? " unreached" : ""}`,
      iconSize: [MARK.width, MARK.height],
      iconAnchor: [MARK.width / 2, MARK.tip],
    }),
    riseOnHover: true,
    keyboard: true,
  });
  mark.on("click", ({ originalEvent }) => pressMark(spot, scoutMap.mouseEventToLatLng(originalEvent)));
  mark.on("add", () => {
    const icon = mark.getElement();
    icon.dataset.rank = spot.rank;
    icon.style.setProperty("--size", computeMarkSize(spot));
    icon.setAttribute("aria-label", formatSpotName(spot));
    icon.addEventListener("keydown", (event) => {
      if (event.key === "Enter" || event.key === " ") {
        event.preventDefault();
        event.stopPropagation();
        pressMark(spot, L.latLng(spot.at));
      }
    });
    dressMark(spot);
  });
  return mark;
}

// A picture on the map that takes no part: nothing to press, nothing to reach by keyboard.
export function makeOrnament(at, icon) {
  return L.marker(at, { icon, interactive: false, keyboard: false, zIndexOffset: -1e7 });
}

function makeCrossIcon() {
  const picture = makeSvg("svg", { viewBox: "-10 -10 20 20", "aria-hidden": "true" });
  picture.append(
    makeSvg("path", { class: "cross-case", d: "M-8 0H8M0 -8V8" }),
    makeSvg("path", { class: "cross", d: "M-8 0H8M0 -8V8" }),
  );
  return L.divIcon({ html: picture, className: "corner-cross", iconSize: [20, 20] });
}

export function setShown(layer, group, wanted) {
  if (!layer || group.hasLayer(layer) === wanted) return;
  if (wanted) group.addLayer(layer);
  else group.removeLayer(layer);
}

export const markLayer = L.layerGroup();
const plainLine = { renderer: lineCanvas, interactive: false, smoothFactor: 0, lineCap: "round", fill: false };
const casings = L.polyline([], plainLine).addTo(stretches);
const strokes = L.polyline([], plainLine).addTo(stretches);
const missWays = L.polyline([], { ...plainLine, lineCap: "butt" }).addTo(misses);

// A spot filtered out takes its mark, its lines and its way to a missed park away.
export function showMarks() {
  const shown = spots.filter((spot) => spot.shown && spot.drawn);
  const lines = shown.flatMap((spot) => spot.stretches.map((stretch) => toLatLngs(stretch.slice(0, 4))));
  casings.setLatLngs(lines);
  strokes.setLatLngs(lines);
  missWays.setLatLngs(shown.filter((spot) => spot.near).map((spot) => [spot.at, toLatLng(spot.near.to)]));
  thinMarks();
  showFineDetail();
}

// Marks that would cover a better-ranked one shrink to a speck until there is room.
export function thinMarks() {
  const taken = new Map();
  let specks = 0;
  const first = chosen ? [chosen] : [];
  for (const spot of [...first, ...spots.filter((other) => other !== chosen)]) {
    const wanted = spot.shown && spot.drawn;
    if (wanted) spot.speck = !takeRoom(taken, scoutMap.project(spot.at));
    const asDot = wanted && spot.speck && (specks += 1) > MOST_SPECKS;
    if (wanted && !asDot) spot.mark ??= makeMark(spot);
    setShown(spot.mark, markLayer, wanted && !asDot);
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
    const style = { renderer: dotCanvas, interactive: false, radius: 3.2, weight: 1.2, color: getColour("case") };
    spot.dot = L.circleMarker(spot.at, { ...style, fillColor: getColour("firm"), fillOpacity: 1 });
  }
  setShown(spot.dot, dots, wanted);
}

// Where the marks stand, for whatever must keep clear of them.
export function getMarkBoxes() {
  return spots
    .filter((spot) => spot.shown && spot.drawn && !spot.speck)
    .map((spot) => {
      const [at, size] = [scoutMap.latLngToContainerPoint(spot.at), computeMarkSize(spot)];
      return L.bounds(at.subtract([17 * size, 46 * size]), at.add([17 * size, 4]));
    });
}

export function getHomeBoxes() {
  if (!findings.home || !scoutMap.hasLayer(homeLayer)) return [];
  const at = scoutMap.latLngToContainerPoint(toLatLng(findings.home.at));
  return [L.bounds(at.subtract([15, 15]), at.add([15, 15]))];
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

function makeHomeIcon() {
  const picture = makeSvg("svg", { viewBox: "0 0 30 30", "aria-hidden": "true" });
  picture.append(
    makeSvg("path", { class: "house", d: "M15 4 27 14.5H23.5V26H6.5V14.5H3Z" }),
    makeSvg("path", { class: "door", d: "M12.5 26V18.5h5V26Z" }),
  );
  return L.divIcon({ html: picture, className: "home-mark", iconSize: [30, 30] });
}

let homeCircle = null;
if (findings.home) {
  makeOrnament(toLatLng(findings.home.at), makeHomeIcon()).addTo(homeLayer);
  if (findings.home.circle) {
    const plain = { renderer: lineCanvas, interactive: false, fill: false };
    homeCircle = L.polygon(toLatLngs(findings.home.circle), plain).addTo(homeLayer);
  }
}

registerPaint(() => {
  casings.setStyle({ color: getColour("case"), weight: 6, opacity: 0.9 });
  strokes.setStyle({ color: getColour("stretch"), weight: 3 });
  missWays.setStyle({ color: getColour("miss"), weight: 2, dashArray: "2 4" });
  dots.eachLayer((dot) => dot.setStyle({ color: getColour("case"), fillColor: getColour("firm") }));
  discs.eachLayer((disc) => disc.setStyle(getDiscStyle()));
  if (homeCircle) {
    homeCircle.setStyle({ color: getColour("home"), weight: 1.6, dashArray: "1 6", lineCap: "round" });
  }
});

function getDiscStyle() {
  return { color: getColour("ink"), weight: 1.5, fillColor: getColour("case"), fillOpacity: 0.45 };
}

scoutMap.on("zoomend", thinMarks);
scoutMap.on("moveend", showFineDetail);

// Corners and discs are metres across: only close views can show them.
function showFineDetail() {
  const zoom = scoutMap.getZoom();
  const view = scoutMap.getBounds().pad(0.2);
  discs.clearLayers();
  corners.clearLayers();
  for (const spot of spots) {
    if (zoom < 9 || !spot.shown || !spot.drawn || !view.contains(spot.at)) continue;
    if (spot.corner) makeOrnament(toLatLng(spot.corner), makeCrossIcon()).addTo(corners);
    if (zoom < 14) continue;
    L.circle(spot.at, { ...plainLine, fill: true, radius: findings.stationRadius, ...getDiscStyle() }).addTo(discs);
  }
}
