// What the find field knows beside the spots: towns and names on the map, and the cell of a locator. A press goes there.

import { findings, toLatLng } from "./findings.js";
import { byId, makeBdi, makeElement } from "./elements.js";
import { foldText } from "./spots.js";
import { roundHalfEven } from "./geodesy.js";
import { readPlace } from "./read_place.js";
import { filters } from "./filters.js";
import { scoutMap } from "./map.js";

const MOST_PLACES = 5;
const SHORTEST_NAME = 2; // letters typed before names are looked for
const TOWN_ZOOM = 9; // closer, the base geography fades out
const NEAR_ZOOM = 13; // what the access data name is seen from here on

// Every name on the map with its place, the more important first.
function listNames() {
  const { towns = [], unitsPerDegree } = findings.geography;
  const ofBase = towns.map(([lon, lat, , name]) => ({ name, at: [lat / unitsPerDegree, lon / unitsPerDegree], zoom: TOWN_ZOOM }));
  const near = (findings.around.names ?? []).map(([x, y, , name]) => ({ name, at: toLatLng([x, y]), zoom: NEAR_ZOOM }));
  return [...near, ...ofBase];
}

function findNames(text) {
  if (text.length < SHORTEST_NAME) return [];
  const seen = new Set();
  const found = listNames().filter(({ name }) => {
    const folded = foldText(name);
    if (!folded.split(/\s+/).some((_, k, words) => words.slice(k).join(" ").startsWith(text)) || seen.has(folded)) return false;
    seen.add(folded);
    return true;
  });
  return found.slice(0, MOST_PLACES);
}

// On the turn of the globe that the map shows.
function bringHere([lat, lon]) {
  return [lat, lon + 360 * roundHalfEven((findings.middle - lon) / 360)];
}

function findCell(text) {
  const { cell } = /\d/.test(text) ? readPlace(text) : {};
  if (!cell) return [];
  const [south, west] = bringHere([cell.south, cell.west]);
  return [{ name: cell.locator, bounds: L.latLngBounds([south, west], [south + cell.height, west + cell.width]) }];
}

function showPlace({ at, zoom, bounds }) {
  if (bounds) scoutMap.fitBounds(bounds, { maxZoom: 18, animate: false });
  else scoutMap.setView(bringHere(at), zoom, { animate: false });
}

function offerPlaces() {
  const typed = filters.elements.words.value.trim();
  const places = [...findCell(typed), ...findNames(foldText(typed))];
  const buttons = places.map((place) => {
    const button = makeElement("button");
    button.type = "button";
    button.append(makeBdi(place.name));
    button.addEventListener("click", () => showPlace(place));
    return button;
  });
  byId("on-map").hidden = !places.length;
  byId("on-map-places").replaceChildren(...buttons);
}

filters.elements.words.addEventListener("input", offerPlaces);
filters.addEventListener("reset", () => window.setTimeout(offerPlaces));
offerPlaces();
