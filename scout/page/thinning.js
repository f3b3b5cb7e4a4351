// What of the base geography a zoom shows: less of it the farther away, and none where its scale ends.

// Metres of ground to a pixel: at the first all of the base is drawn, beyond the second nothing of it. Its lines
// are wrong by a kilometre or so, ten pixels at the second.
const WHOLE_MPP = 300;
const NONE_MPP = 100;
const EQUATOR_M = 40075016.7; // of WGS 84, rounded
const TILE_PX = 256;

export function computeMetresPerPixel(zoom, lat) {
  return (EQUATOR_M * Math.cos((lat * Math.PI) / 180)) / (TILE_PX * 2 ** zoom);
}

// From 1, drawn as it is, to 0, not at all.
export function computeBaseStrength(metresPerPixel) {
  const share = Math.log(metresPerPixel / NONE_MPP) / Math.log(WHOLE_MPP / NONE_MPP);
  return Math.min(Math.max(share, 0), 1);
}

// The least important that is drawn; ranks begin with 0.
export function findLastRank(layer, zoom) {
  if (layer === "towns") return zoom < 7 ? zoom - 2 : 10;
  if (layer === "rivers") return zoom < 6 ? zoom - 1 : 10;
  if (layer === "states") return zoom < 4 ? -1 : 10;
  return 10;
}

// Longitude and latitude on the map's projection, its square from 0 to 1, x to the east and y to the south.
export function projectToSquare(lon, lat, mapEdge) {
  const north = (Math.max(-mapEdge, Math.min(mapEdge, lat)) * Math.PI) / 180;
  return [lon / 360 + 0.5, 0.5 - Math.asinh(Math.tan(north)) / (2 * Math.PI)];
}

// The turns of the world, in whole squares, at which something from low to high meets a view.
export function listTurns(low, high, west, east) {
  const turns = [];
  for (let turn = Math.ceil(west - high) + 0; turn <= Math.floor(east - low); turn += 1) turns.push(turn);
  return turns;
}
