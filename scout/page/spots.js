// The spots of these findings, unpacked: what the list, the map and the details read.

import { findings, toLatLng } from "./findings.js";
import { degreeLengths, wrapLongitude } from "./geodesy.js";
import { readPlace } from "./read_place.js";
import { formatVerdict } from "./wording.js";

export const KIND_WORDS = {
  corner: "corner",
  line: "line",
  overlap: "overlap",
  "near-miss": "near miss",
  place: "place",
};
const VERDICT_WORDS = { firm: "firm", doubtful: "doubtful", uncounted: "not counted", near: "near miss" };

// Parks with an outline first, then those that are only named.
export const parkLabels = [...findings.parks, ...findings.named.map(([id, name]) => ({ id, name }))];

export function foldText(text) {
  return text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();
}

export const spots = findings.spots.map((raw) => {
  const at = toLatLng(raw.at);
  const parks = (raw.parks ?? []).map((number) => parkLabels[number]);
  const near = raw.near && { ...raw.near, park: parkLabels[raw.near.park] };
  const [grids, held, pairs] = raw.worth;
  return {
    ...raw,
    at,
    lon: wrapLongitude(at[1]),
    lat: at[0],
    parks,
    near,
    grids,
    held,
    pairs,
    clearances: raw.clearances ?? [],
    inside: raw.inside ?? [],
    stretches: raw.stretches ?? [],
    notes: raw.notes ?? [],
    warnings: raw.warnings ?? [],
    entry: (raw.entry ?? []).map((place) => raw.notes[place]), // notes on parks that may not be open
    clearance: near ? -near.away[0] : Math.min(...(raw.clearances ?? [])),
    ifTrue: raw.outlines > 0,
    outlines: raw.outlines ?? 0, // that look generalised; the first notes say so
    shown: true,
    // Spots beyond the edge of a Mercator map stay in the list, which says so.
    drawn: Math.abs(at[0]) <= findings.mapEdge,
  };
});

export let chosen = null; // the spot whose details are open

export function setChosen(spot) {
  chosen = spot;
}

// What the text filter looks into.
function getSearchText(spot) {
  if (spot.search === undefined) {
    const parks = [...spot.parks, ...(spot.near ? [spot.near.park] : [])];
    const texts = [...spot.locators, ...parks.flatMap((park) => [park.id, park.name]), spot.walk?.startName ?? ""];
    spot.search = foldText(texts.join(" "));
  }
  return spot.search;
}

// Whether a word of the text filter is in what is told of a spot, or a locator finer than listed whose cell its
// station touches.
export function matchesWord(spot, word) {
  if (getSearchText(spot).includes(word)) return true;
  if (word.length <= 2 * findings.level) return false;
  const { cell } = readPlace(word);
  if (!cell) return false;
  const { perLon, perLat } = degreeLengths(spot.lat);
  const [reachLon, reachLat] = [findings.stationRadius / perLon, findings.stationRadius / perLat];
  const east = wrapLongitude(spot.lon - cell.west - cell.width / 2); // of the cell's middle
  const north = spot.lat - cell.south - cell.height / 2;
  return Math.abs(east) <= cell.width / 2 + reachLon && Math.abs(north) <= cell.height / 2 + reachLat;
}

const byRank = new Map(spots.map((spot) => [spot.rank, spot]));

export function getSpot(rank) {
  return byRank.get(rank);
}

export function wordVerdict(spot) {
  return formatVerdict(VERDICT_WORDS[spot.look], spot.ifTrue);
}

export function isWalked(spot) {
  return spot.walk?.state === "walked";
}

export function isOutOfReach(spot) {
  return spot.walk?.state === "out of reach";
}

export const anyWalk = spots.some((spot) => spot.walk);

export function formatSpotName(spot) {
  return `${spot.rank}, ${KIND_WORDS[spot.kind]}: ${spot.locators.join(" ")}`;
}
