// The ground around spots: water, other barriers as walls, and each kind of hazards in its own colour.

import { findings } from "./findings.js";
import { getColour, makeCanvasPane, makeHatching, registerPaint } from "./palette.js";
import { makeDrawnLines, makeDrawnPolygons } from "./outlines.js";

const groundCanvas = makeCanvasPane("surroundings", 405);
export const groundLayers = {};

for (const [name, drawn] of Object.entries(findings.around)) {
  if (!drawn.areas || name === "woods" || name === "buildings") continue;
  const layer = L.layerGroup();
  groundLayers[name] = layer;
  const plainShape = { renderer: groundCanvas, interactive: false };
  const area = L.polygon(makeDrawnPolygons(drawn.areas, findings.unitsPerDegree), plainShape).addTo(layer);
  const line = L.polyline(makeDrawnLines(drawn.lines, findings.unitsPerDegree), { ...plainShape, fill: false }).addTo(layer);
  const hazard = name !== "barriers" && name !== "walls";
  registerPaint(() => {
    const ink = getColour(name);
    area.setStyle({ color: ink, weight: 1.4, fillColor: hazard ? makeHatching(true, ink) : ink, fillOpacity: hazard ? 0.7 : 0.4 });
    line.setStyle({ color: ink, weight: hazard ? 2.2 : name === "walls" ? 1.5 : 2.6, dashArray: hazard ? "9 3 2 3" : null });
  });
}
