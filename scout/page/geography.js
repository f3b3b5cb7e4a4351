// The base geography under the parks: sea, lakes, rivers, borders and towns, drawn whole at every move. It is coarse
// and says so; where it would mislead it fades out.

import { findings } from "./findings.js";
import { makeElement, makeSvg } from "./elements.js";
import { unpackRing } from "./outlines.js";
import { backgroundTiles, scoutMap } from "./map.js";
import { CANVAS_MARGIN, canvases, getColour, registerPaint } from "./palette.js";
import { guessWidth, placeName, placeTown } from "./name_room.js";
import { computeBaseStrength, computeMetresPerPixel, findLastRank, listTurns, projectToSquare } from "./thinning.js";

const BASE_CREDIT = "Base geography: Natural Earth 1:50 million, coarse";
const LACKS_LAND = "Natural Earth 1:50 million has no land here";
const LEAST_BASE_PX = 2; // an island or a lake that is smaller is not drawn
const { geography } = findings;

const basePane = scoutMap.createPane("geography");
basePane.style.zIndex = 380;
basePane.style.pointerEvents = "none";

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
  const credit = geography.lacksLand ? LACKS_LAND : BASE_CREDIT;
  scoutMap.attributionControl[wanted ? "addAttribution" : "removeAttribution"](credit);
}

// Towns, lakes and rivers by name where there is room, the most important first; and whose they are.
export function placeBaseNames(room) {
  const strength = scoutMap.hasLayer(geographyLayer) ? getStrength() : 0;
  nameSource(strength > 0);
  if (!strength || !baseLayers.land) return;
  const size = scoutMap.getSize();
  const corner = scoutMap.containerPointToLayerPoint([0, 0]);
  const frame = findFrame(L.bounds(corner, corner.add(size)));
  const zoom = scoutMap.getZoom();
  const place = { room, frame, strength, seen: new Set() };
  for (const town of baseTowns) {
    if (town.rank > findLastRank("towns", zoom)) break;
    if (town.y < frame.view.north || town.y > frame.view.south) continue;
    for (const turn of listTurns(town.x, town.x, frame.view.west, frame.view.east)) {
      placeTown(room, town.name, findPixel(frame, town.x + turn, town.y), strength);
    }
  }
  for (const name of ["lakes", "rivers"]) {
    for (const line of baseLayers[name]) {
      if (line.name && line.rank < findLastRank(name, zoom) && isLineInSight(line, frame)) placeWaterName(line, name, place);
    }
  }
}

// On the container, of a place on the square of the map.
function findPixel({ size, origin }, x, y) {
  return scoutMap.layerPointToContainerPoint(L.point(x * size - origin.x, y * size - origin.y));
}

// In the middle of a lake that is wide enough, or at a vertex of a river, once for all its pieces.
function placeWaterName(line, kind, { room, frame, strength, seen }) {
  const key = `${kind} ${line.name}`;
  if (seen.has(key) || (line.high - line.low) * frame.size < guessWidth(line.name)) return;
  for (const turn of listTurns(line.low, line.high, frame.view.west, frame.view.east)) {
    if (listNamePlaces(line, kind, turn, frame).some((at) => placeName(room, "water-name", line.name, at, strength))) {
      seen.add(key);
      return;
    }
  }
}

// The middle of a lake; some vertices of a river, from the middle outwards.
function listNamePlaces(line, kind, turn, frame) {
  if (kind === "lakes") return [findPixel(frame, (line.low + line.high) / 2 + turn, (line.top + line.bottom) / 2)];
  const last = line.x.length - 1;
  const numbers = [0.5, 0.3, 0.7, 0.15, 0.85].map((share) => Math.round(share * last));
  return numbers.map((k) => findPixel(frame, line.x[k] + turn, line.y[k]));
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
});
