// The findings, read once; coordinates become [lat, lon] in degrees, as the map wants them.

const findings = JSON.parse(document.getElementById("findings").textContent);

// A reader who asked for less motion gets none.
const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
const motion = { zoomAnimation: !still, fadeAnimation: !still, markerZoomAnimation: !still, inertia: !still };

function degrees(units) {
  return units / findings.unitsPerDegree;
}

function place(pair) {
  return [degrees(pair[1]), degrees(pair[0])];
}

function places(flat) {
  const out = [];
  for (let i = 0; i < flat.length; i += 2) out.push([degrees(flat[i + 1]), degrees(flat[i])]);
  return out;
}

function byId(id) {
  return document.getElementById(id);
}

function element(name, className, text) {
  const node = document.createElement(name);
  if (className) node.className = className;
  if (text !== undefined) node.textContent = text;
  return node;
}
