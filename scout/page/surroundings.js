// The ground around spots: barriers such as water, closed areas, overhead power lines.

import { findings } from "./findings.js";
import { getColour, makeCanvasPane, makeHatching, registerPaint } from "./palette.js";
import { makeDrawnPolygons, unpackRing } from "./outlines.js";

const groundCanvas = makeCanvasPane("surroundings", 405);
export const groundLayers = { barriers: L.layerGroup(), closed: L.layerGroup(), power: L.layerGroup() };

for (const [name, layer] of Object.entries(groundLayers)) {
  const drawn = findings.around[name];
  if (!drawn) continue;
  const plainShape = { renderer: groundCanvas, interactive: false };
  const area = L.polygon(makeDrawnPolygons(drawn.areas, findings.unitsPerDegree), plainShape).addTo(layer);
  const paths = drawn.lines.map((text) => {
    const { lon, lat } = unpackRing(text, findings.unitsPerDegree);
    return [...lon].map((x, k) => [lat[k], x]);
  });
  const line = L.polyline(paths, { ...plainShape, fill: false }).addTo(layer);
  registerPaint(() => {
    const ink = getColour(name);
    const hatched = name === "closed" ? makeHatching(true, ink) : ink;
    area.setStyle({ color: ink, weight: 1.4, fillColor: hatched, fillOpacity: name === "barriers" ? 0.4 : 0.7 });
    line.setStyle({ color: ink, weight: name === "power" ? 2.2 : 2.6, dashArray: name === "power" ? "9 3 2 3" : null });
  });
}
