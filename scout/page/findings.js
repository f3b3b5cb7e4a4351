// The findings, read once; coordinates become [lat, lon] in degrees, as the map wants them.

export const findings = JSON.parse(document.getElementById("findings").textContent);

export function toDegrees(units) {
  return units / findings.unitsPerDegree;
}

export function toLatLng(pair) {
  return [toDegrees(pair[1]), toDegrees(pair[0])];
}

export function toLatLngs(flat) {
  const out = [];
  for (let i = 0; i < flat.length; i += 2) out.push([toDegrees(flat[i + 1]), toDegrees(flat[i])]);
  return out;
}
