// A place given as a locator is a whole cell: the share of it that lies inside a park, in the plane of degrees.

import { degreeLengths, roundHalfEven } from "./geodesy.js";
import { clamp } from "./confidence.js";

// Integral of the distance from the west edge, no more than the cell's width, along an edge between two
// parallels: what an edge adds to the area west of it.
function computeAreaWest([x0, y0], [x1, y1], cell) {
  const cuts = [0, 1];
  const east = cell.west + cell.width;
  for (const x of [cell.west, east]) cuts.push((x - x0) / (x1 - x0));
  for (const y of [cell.south, cell.south + cell.height]) cuts.push((y - y0) / (y1 - y0));
  const stops = cuts.filter((cut) => cut >= 0 && cut <= 1).sort((a, b) => a - b);
  const span = (cut) => clamp(x0 + cut * (x1 - x0), cell.west, east) - cell.west;
  const height = (cut) => clamp(y0 + cut * (y1 - y0), cell.south, cell.south + cell.height);
  let area = 0;
  for (let k = 1; k < stops.length; k += 1) {
    const [from, to] = [stops[k - 1], stops[k]];
    area += ((span(from) + span(to)) / 2) * (height(to) - height(from));
  }
  return area;
}

// The share inside, and by how much loose edges leave it open.
export function computeCellShare(boundary, cell, toleranceM) {
  const turn = 360 * roundHalfEven((boundary.middle - cell.west - cell.width / 2) / 360);
  const there = { ...cell, west: cell.west + turn };
  const { perLon, perLat } = degreeLengths(cell.south + cell.height / 2);
  const [padX, padY] = [toleranceM / perLon, toleranceM / perLat];
  const areas = boundary.holes.map(() => 0);
  let open = 0;
  for (let k = 0; k < boundary.size; k += 1) {
    const [start, end] = [[boundary.lon0[k], boundary.lat0[k]], [boundary.lon1[k], boundary.lat1[k]]];
    areas[boundary.ring[k]] += computeAreaWest(start, end, there);
    if (boundary.loose[k] && isNearBox(start, end, there, padX, padY)) {
      const length = Math.hypot((end[0] - start[0]) * perLon, (end[1] - start[1]) * perLat);
      open += 2 * toleranceM * (length + 2 * toleranceM);
    }
  }
  const size = cell.width * cell.height;
  const inside = areas.reduce((sum, area, k) => sum + (boundary.holes[k] ? -1 : 1) * Math.abs(area), 0);
  return { share: clamp(inside / size, 0, 1), open: open / (size * perLon * perLat) };
}

function isNearBox([x0, y0], [x1, y1], { west, south, width, height }, padX, padY) {
  const overX = Math.max(x0, x1) >= west - padX && Math.min(x0, x1) <= west + width + padX;
  return overX && Math.max(y0, y1) >= south - padY && Math.min(y0, y1) <= south + height + padY;
}
