// The ground around spots: barriers such as water, and each kind of hazards in its own colour.

import { findings } from "./findings.js";
import { getColour, makeCanvasPane, makeHatching, registerPaint } from "./palette.js";
import { makeDrawnPolygons, unpackRing } from "./outlines.js";

const groundCanvas = makeCanvasPane("surroundings", 405);
export const groundLayers = {};

for (const [name, drawn] of Object.entries(findings.around)) {
  if (!drawn.areas || name === "woods") continue;
  const layer = L.layerGroup();
  groundLayers[name] = layer;
  const plainShape = { renderer: groundCanvas, interactive: false };
  const area = L.polygon(makeDrawnPolygons(drawn.areas, findings.unitsPerDegree), plainShape).addTo(layer);
  const paths = drawn.lines.map((text) => {
    const { lon, lat } = unpackRing(text, findings.unitsPerDegree);
    return [...lon].map((x, k) => [lat[k], x]);
  });
  const line = L.polyline(paths, { ...plainShape, fill: false }).addTo(layer);
  const hazard = name !== "barriers";
  registerPaint(() => {
    const ink = getColour(name);
    area.setStyle({ color: ink, weight: 1.4, fillColor: hazard ? makeHatching(true, ink) : ink, fillOpacity: hazard ? 0.7 : 0.4 });
    line.setStyle({ color: ink, weight: hazard ? 2.2 : 2.6, dashArray: hazard ? "9 3 2 3" : null });
  });
}
