// The base geography under the parks: sea, lakes, rivers, borders and towns, drawn whole at every move. It is coarse
// and says so; where it would mislead it fades out.

import { findings } from "./findings.js";
import { makeElement, makeSvg } from "./elements.js";
import { unpackRing } from "./outlines.js";
import { backgroundTiles, scoutMap } from "./map.js";
import { CANVAS_MARGIN, canvases, getColour, registerPaint } from "./palette.js";
import { getHomeBoxes, getMarkBoxes } from "./marks.js";
import { getLatticeNameBoxes } from "./lattice.js";
import { getParkNameBoxes } from "./parks.js";
import { computeBaseStrength, computeMetresPerPixel, findLastRank, listTurns, projectToSquare } from "./thinning.js";

const BASE_CREDIT = "Base geography: Natural Earth 1:50 million, coarse";
const LACKS_LAND = "; it has no land here";
const LEAST_BASE_PX = 2; // an island or a lake that is smaller is not drawn
const MOST_BASE_NAMES = 60;
const TOWN_RISE_PX = 8; // as in the style sheet
const { geography } = findings;

const basePane = scoutMap.createPane("geography");
basePane.style.zIndex = 380;
basePane.style.pointerEvents = "none";
const baseNamePane = scoutMap.createPane("geography-names");
baseNamePane.style.zIndex = 435;
baseNamePane.style.pointerEvents = "none";
baseNamePane.setAttribute("aria-hidden", "true");

const baseLayers = {};
let baseTowns = [];

// A line on the square of the map; what runs along the edge of the world is no coast and is not stroked.
function unpackLine([text, rank, name]) {
  const { lon, lat, loose } = unpackRing(text, geography.unitsPerDegree);
  const [x, y] = [new Float64Array(lon.length), new Float64Array(lon.length)];
  const line = { x, y, loose, rank, name, low: Infinity, high: -Infinity, top: Infinity, bottom: -Infinity };
  for (let k = 0; k < lon.length; k += 1) {
    [x[k], y[k]] = projectToSquare(lon[k], lat[k], findings.mapEdge);
    line.low = Math.min(line.low, x[k]);
    line.high = Math.max(line.high, x[k]);
    line.top = Math.min(line.top, y[k]);
    line.bottom = Math.max(line.bottom, y[k]);
  }
  return line;
}

function unpackGeography() {
  for (const name of ["land", "lakes", "rivers", "countries", "states"]) baseLayers[name] = geography[name].map(unpackLine);
  baseTowns = geography.towns.map(([lon, lat, rank, name]) => {
    const [x, y] = projectToSquare(lon / geography.unitsPerDegree, lat / geography.unitsPerDegree, findings.mapEdge);
    return { x, y, rank, name };
  });
}

// How strongly the base is drawn now; the online background has all of it, and better.
function getStrength() {
  if (!geography.land || scoutMap.hasLayer(backgroundTiles)) return 0;
  const lat = Math.max(-findings.mapEdge, Math.min(findings.mapEdge, scoutMap.getCenter().lat));
  return computeBaseStrength(computeMetresPerPixel(scoutMap.getZoom(), lat));
}

// Where the square of the map lies in pixels of a layer, and the part of it that is looked at.
function findFrame({ min, max }) {
  const size = scoutMap.options.crs.scale(scoutMap.getZoom());
  const origin = scoutMap.getPixelOrigin();
  const [west, east] = [min.x, max.x].map((x) => (x + origin.x) / size);
  const [north, south] = [min.y, max.y].map((y) => (y + origin.y) / size);
  return { size, origin, view: { west, east, north, south } };
}

function isLineInSight(line, { size, view }) {
  const large = Math.max(line.high - line.low, line.bottom - line.top) * size >= LEAST_BASE_PX;
  return large && line.bottom >= view.north && line.top <= view.south;
}

// Add lines to the path, at every turn of the world in sight; `whole` takes the edge of the world along.
function traceLines(pen, lines, frame, whole) {
  const { size, origin, view } = frame;
  pen.beginPath();
  for (const line of lines) {
    if (!isLineInSight(line, frame)) continue;
    for (const turn of listTurns(line.low, line.high, view.west, view.east)) {
      for (let k = 0; k < line.x.length; k += 1) {
        const move = k === 0 || (!whole && line.loose[k - 1]);
        pen[move ? "moveTo" : "lineTo"]((line.x[k] + turn) * size - origin.x, line.y[k] * size - origin.y);
      }
    }
  }
}

function drawBase(pen, bounds) {
  const strength = getStrength();
  if (!strength) return;
  if (!baseLayers.land) unpackGeography();
  const frame = findFrame(bounds);
  const zoom = scoutMap.getZoom();
  const upTo = (name) => baseLayers[name].filter((line) => line.rank <= findLastRank(name, zoom));
  const stroke = (lines, colour, width, dashes = []) => {
    traceLines(pen, lines, frame, false);
    pen.strokeStyle = getColour(colour);
    pen.lineWidth = width;
    pen.setLineDash(dashes);
    pen.stroke();
  };
  pen.save();
  pen.globalAlpha = strength;
  pen.lineJoin = "round";
  pen.fillStyle = getColour("sea");
  if (!geography.lacksLand) {
    // All that is not land, within the square of the map: the paper is the land.
    traceLines(pen, baseLayers.land, frame, true);
    pen.rect(bounds.min.x, -frame.origin.y, bounds.max.x - bounds.min.x, frame.size);
    pen.fill("evenodd");
  }
  stroke(upTo("rivers"), "river", 1.1);
  traceLines(pen, baseLayers.lakes, frame, true);
  pen.fill("evenodd");
  stroke(baseLayers.lakes, "shore", 0.8);
  stroke(upTo("states"), "border", 1, [5, 4]);
  stroke(baseLayers.countries.filter((line) => line.rank === 0), "border", 1.7);
  stroke(baseLayers.countries.filter((line) => line.rank > 0), "border", 1.7, [2, 4]);
  stroke(baseLayers.land, "shore", 1.1);
  pen.restore();
}

// Leaflet's canvas, with the whole base in the place of single shapes.
const BaseCanvas = L.Canvas.extend({
  _draw() {
    drawBase(this._ctx, this._bounds);
  },
});
export const geographyLayer = new BaseCanvas({ pane: "geography", padding: CANVAS_MARGIN });
canvases.push(geographyLayer);

let sourceNamed = false; // Leaflet counts how often a credit was added

function nameSource(wanted) {
  if (wanted === sourceNamed) return;
  sourceNamed = wanted;
  const credit = BASE_CREDIT + (geography.lacksLand ? LACKS_LAND : "");
  scoutMap.attributionControl[wanted ? "addAttribution" : "removeAttribution"](credit);
}

// Where names may still go, and which have been set.
class NameRoom {
  constructor(frame) {
    this.frame = frame;
    this.taken = [...getMarkBoxes(), ...getHomeBoxes(), ...getLatticeNameBoxes(), ...getParkNameBoxes()];
    this.view = L.bounds([4, 4], scoutMap.getSize().subtract([4, 4]));
    this.seen = new Set();
    this.count = 0;
  }

  // On the container, of a place on the square of the map.
  pixel(x, y) {
    const { size, origin } = this.frame;
    return scoutMap.layerPointToContainerPoint(L.point(x * size - origin.x, y * size - origin.y));
  }

  take(...boxes) {
    const isFree = (box) => this.view.contains(box) && !this.taken.some((other) => other.intersects(box));
    if (this.count >= MOST_BASE_NAMES || !boxes.every(isFree)) return false;
    this.taken.push(...boxes);
    this.count += 1;
    return true;
  }
}

// Towns, lakes and rivers by name where there is room, the most important first.
export function drawGeographyNames() {
  baseNamePane.replaceChildren();
  const strength = scoutMap.hasLayer(geographyLayer) ? getStrength() : 0;
  nameSource(strength > 0);
  if (!strength || !baseLayers.land) return;
  baseNamePane.style.opacity = strength;
  const size = scoutMap.getSize();
  const corner = scoutMap.containerPointToLayerPoint([0, 0]);
  const frame = findFrame(L.bounds(corner, corner.add(size)));
  const room = new NameRoom(frame);
  const zoom = scoutMap.getZoom();
  for (const town of baseTowns) {
    if (town.rank > findLastRank("towns", zoom)) break;
    for (const turn of listTurns(town.x, town.x, frame.view.west, frame.view.east)) {
      if (town.y < frame.view.north || town.y > frame.view.south) continue;
      placeTown(town, room, room.pixel(town.x + turn, town.y));
    }
  }
  for (const name of ["lakes", "rivers"]) {
    for (const line of baseLayers[name]) {
      if (line.name && line.rank < findLastRank(name, zoom) && isLineInSight(line, frame)) placeWaterName(line, room, name);
    }
  }
}

// About the width of a name, without asking the browser to lay it out.
function guessWidth(text) {
  return 7 * [...text].length + 4;
}

function addName(className, text, at) {
  const node = makeElement("span", `${className} leaflet-zoom-hide`, text);
  L.DomUtil.setPosition(node, scoutMap.containerPointToLayerPoint(at));
  baseNamePane.append(node);
}

// To the right of its dot, or to the left where something stands there; a little higher or lower where that helps.
function placeTown(town, room, at) {
  const width = guessWidth(town.name);
  for (const rise of ["", " high", " low"]) {
    for (const side of ["", " left"]) {
      const ends = side ? [at.x - 7 - width, at.x + 4] : [at.x - 4, at.x + 7 + width];
      const y = at.y + (rise === " high" ? -TOWN_RISE_PX : rise ? TOWN_RISE_PX : 0);
      const dot = L.bounds(at.subtract([3, 3]), at.add([3, 3]));
      if (!room.take(L.bounds([ends[0], y - 7], [ends[1], y + 7]), dot)) continue;
      addName(`town-name${side}${rise}`, town.name, at);
      return;
    }
  }
}

// In the middle of a lake that is wide enough, or at a vertex of a river, once for all its pieces.
function placeWaterName(line, room, kind) {
  const key = `${kind} ${line.name}`;
  const width = guessWidth(line.name);
  if (room.seen.has(key)) return;
  const { view, size } = room.frame;
  if ((line.high - line.low) * size < width) return;
  for (const turn of listTurns(line.low, line.high, view.west, view.east)) {
    for (const at of listNamePlaces(line, kind, turn, room)) {
      if (!room.take(L.bounds(at.subtract([width / 2, 8]), at.add([width / 2, 8])))) continue;
      room.seen.add(key);
      addName("water-name", line.name, at);
      return;
    }
  }
}

// The middle of a lake; some vertices of a river, from the middle outwards.
function listNamePlaces(line, kind, turn, room) {
  if (kind === "lakes") return [room.pixel((line.low + line.high) / 2 + turn, (line.top + line.bottom) / 2)];
  const last = line.x.length - 1;
  const numbers = [0.5, 0.3, 0.7, 0.15, 0.85].map((share) => Math.round(share * last));
  return numbers.map((k) => room.pixel(line.x[k] + turn, line.y[k]));
}

// North is up on this map, always; a mark says so.
const NorthMark = L.Control.extend({
  onAdd() {
    const node = makeElement("div", "north-mark");
    const picture = makeSvg("svg", { viewBox: "0 0 20 30", role: "img", "aria-label": "North is up" });
    picture.append(makeSvg("path", { d: "M10 1 14.5 13 10 10.5 5.5 13Z" }), makeSvg("text", { x: 10, y: 27 }, "N"));
    node.append(picture);
    return node;
  },
});
export function addNorthMark() {
  new NorthMark({ position: "bottomright" }).addTo(scoutMap);
}

registerPaint(() => {
  if (scoutMap.hasLayer(geographyLayer)) geographyLayer._redraw();
  drawGeographyNames();
});
scoutMap.on("moveend viewreset resize", drawGeographyNames);
