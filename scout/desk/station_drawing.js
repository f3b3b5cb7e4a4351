// The station at a boundary and a lattice line, to scale: what the three numbers mean.

import { byId } from "./elements.js";

const NS = "http://www.w3.org/2000/svg";
const WIDE = 360;
const HIGH = 170;

function makeShape(tag, values, text = "") {
  const made = document.createElementNS(NS, tag);
  for (const [name, value] of Object.entries(values)) made.setAttribute(name, value);
  made.textContent = text;
  return made;
}

const FOOT_M = 0.3048;

export function drawStation(radius, fix, boundary, imperial = false) {
  const formatMetres = (value) => `${Number((imperial ? value / FOOT_M : value).toFixed(1)).toLocaleString("en")} ${imperial ? "ft" : "m"}`;
  const drawing = byId("drawing");
  const said = byId("drawing-said");
  drawing.replaceChildren();
  if (![radius, fix, boundary].every((value) => Number.isFinite(value) && value >= 0)) {
    said.textContent = "Give three lengths to see them drawn.";
    return;
  }
  const scale = Math.min(58 / Math.max(radius + fix, 0.1), 68 / Math.max(boundary, 0.1));
  const [x, y] = [112, 84];
  const edge = 278;
  const band = boundary * scale;
  drawing.append(
    makeShape("rect", { class: "park", x: 0, y: 0, width: edge, height: HIGH }),
    makeShape("rect", { class: "band", x: edge - band, y: 0, width: 2 * band, height: HIGH }),
    makeShape("line", { class: "edge", x1: edge, y1: 0, x2: edge, y2: HIGH }),
    makeShape("line", { class: "grid-line", x1: x, y1: 0, x2: x, y2: HIGH }),
    makeShape("circle", { class: "disc", cx: x, cy: y, r: radius * scale }),
    makeShape("circle", { class: "fix", cx: x, cy: y, r: fix * scale }),
    makeShape("text", { x: x + 5, y: 13 }, "grid line"),
    makeShape("text", { x: 6, y: HIGH - 8 }, "inside the park"),
    makeShape("text", { x: Math.min(edge + 5, WIDE - 78), y: 13 }, "boundary"),
    makeShape("text", { x: 6, y: 13 }, `${formatMetres(radius)} + ${formatMetres(fix)}`),
    makeShape("text", { x: edge + 5, y: HIGH - 8 }, `± ${formatMetres(boundary)}`),
  );
  const out = fix > radius ? " The receiver's error is the larger: even on a line the disc may miss it." : "";
  said.textContent =
    `The filled disc of ${formatMetres(radius)} is your station; its centre may really lie anywhere within the ` +
    `dashed ring, ${formatMetres(fix)}. The boundary may run ${formatMetres(boundary)} to either side of where it is drawn.${out}`;
}
