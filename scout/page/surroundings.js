// The ground around spots: barriers such as water, closed areas, overhead power lines.

const groundCanvas = canvasPane("surroundings", 405);
const groundLayers = { barriers: L.layerGroup(), closed: L.layerGroup(), power: L.layerGroup() };

for (const [name, layer] of Object.entries(groundLayers)) {
  const drawn = findings.around[name];
  if (!drawn) continue;
  const plainShape = { renderer: groundCanvas, interactive: false };
  const area = L.polygon(drawnPolygons(drawn.areas, findings.unitsPerDegree), plainShape).addTo(layer);
  const paths = drawn.lines.map((text) => {
    const { lon, lat } = unpackRing(text, findings.unitsPerDegree);
    return [...lon].map((x, k) => [lat[k], x]);
  });
  const line = L.polyline(paths, { ...plainShape, fill: false }).addTo(layer);
  painted(() => {
    const ink = colour(name);
    const hatched = name === "closed" ? hatching(true, ink) : ink;
    area.setStyle({ color: ink, weight: 1.4, fillColor: hatched, fillOpacity: name === "barriers" ? 0.4 : 0.7 });
    line.setStyle({ color: ink, weight: name === "power" ? 2.2 : 2.6, dashArray: name === "power" ? "9 3 2 3" : null });
  });
}
