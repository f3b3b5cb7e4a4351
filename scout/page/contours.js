// Lines of equal height, close up: every fifth is thicker and tells its height, where there is room.

import { findings } from "./findings.js";
import { backgroundTiles, scoutMap } from "./map.js";
import { getColour, makeCanvasPane, registerPaint, showFromZoom } from "./palette.js";
import { makeDrawnLines } from "./outlines.js";
import { placeName } from "./name_room.js";
import { formatHeight } from "./wording.js";

const CONTOUR_ZOOM = 13;
const HEIGHT_ZOOM = 14;
const STRONG_EVERY = 5;
const HEIGHT_SHARES = [0.5, 0.25, 0.75]; // of a line's vertices, where its height may stand

const contourCanvas = makeCanvasPane("contours", 395);
export const contourLayer = L.layerGroup();

// [metres, lines], the thicker ones apart.
const thin = [];
const strong = [];
for (const [interval, levels] of findings.contours) {
  for (const [height, ...lines] of levels) {
    const kind = Math.round(height / interval) % STRONG_EVERY ? thin : strong;
    kind.push([height, makeDrawnLines(lines, findings.unitsPerDegree)]);
  }
}
if (findings.contours.length) {
  const plain = { renderer: contourCanvas, interactive: false, fill: false, smoothFactor: 0.7 };
  const [fine, thick] = [thin, strong].map((levels) => L.polyline(levels.flatMap(([, lines]) => lines), plain));
  showFromZoom([[fine, contourLayer, CONTOUR_ZOOM], [thick, contourLayer, CONTOUR_ZOOM]]);
  registerPaint(() => {
    fine.setStyle({ color: getColour("contour"), weight: 0.8 });
    thick.setStyle({ color: getColour("contour"), weight: 1.6 });
  });
}

// Heights on the thicker lines, one a line.
export function placeHeights(room) {
  if (scoutMap.getZoom() < HEIGHT_ZOOM || !scoutMap.hasLayer(contourLayer) || scoutMap.hasLayer(backgroundTiles)) return;
  const view = scoutMap.getBounds();
  for (const [height, lines] of strong) {
    for (const line of lines) {
      const seen = line.filter((place) => view.contains(place));
      if (seen.length < 6) continue;
      const tried = HEIGHT_SHARES.map((share) => scoutMap.latLngToContainerPoint(seen[Math.floor(share * seen.length)]));
      tried.some((at) => placeName(room, "height-name", formatHeight(height), at));
    }
  }
}
