// The horizon of a spot: in words, from above as a picture, and in numbers.

import { makeBdi, makeBullets, makeElement, makeHeading, makeSvg } from "./elements.js";
import { formatSentence } from "./wording.js";

const RIM = 100; // the level; what stands higher lies inside
const OPEN_DEG = 3; // as in scout/sight/outlook.py
const TOPS = [10, 20, 30, 45, 60, 90];

// Angles evenly round from north, two digits to the base of 36 each: tenths of a degree over -10.
export function unpackAngles(text) {
  const angles = [];
  for (let k = 0; k < text.length; k += 2) angles.push((parseInt(text.slice(k, k + 2), 36) - 100) / 10);
  return angles;
}

// Runs of places on a circle for which a test holds, first and last of each.
export function findRuns(count, holds) {
  const runs = [];
  let start = 0;
  while (start < count && holds(start)) start++;
  if (start === count) return [[0, count - 1]];
  for (let k = 1; k <= count; k++) {
    const at = (start + k) % count;
    if (!holds(at)) continue;
    const run = runs[runs.length - 1];
    if (run && holds((at - 1 + count) % count)) run[1] = at;
    else runs.push([at, at]);
  }
  return runs;
}

export function makeHorizonDetails(spot) {
  const { sight } = spot;
  if (!sight) return [];
  const angles = unpackAngles(sight.deg);
  const most = sight.most ? unpackAngles(sight.most) : angles;
  const highest = Math.max(...angles);
  const top = TOPS.find((one) => highest * 1.15 <= one) ?? 90;
  const figure = makeElement("figure", "horizon");
  const lines = sight.lines.map(formatSentence);
  figure.append(drawHorizon(angles, most, top, sight.aims ?? [], lines), makeKey(top, most !== angles));
  const aims = (sight.aims ?? []).map(([, text], k) => [`${k + 1}. `, makeBdi(formatSentence(text))]);
  return [
    makeHeading("What the antenna sees"),
    makeBullets(lines.map((line) => makeBdi(line))),
    figure,
    ...(aims.length ? [makeBullets(aims)] : []),
    makeNumbers(angles, most),
  ];
}

function drawHorizon(angles, most, top, aims, lines) {
  const place = (k, radius) => {
    const turn = (2 * Math.PI * k) / angles.length;
    return `${(radius * Math.sin(turn)).toFixed(1)} ${(-radius * Math.cos(turn)).toFixed(1)}`;
  };
  const inward = (angle) => RIM * (1 - Math.min(Math.max(angle / top, 0), 1));
  const ring = (radius) => `M${angles.map((_, k) => place(k, radius(k))).join("L")}Z`;
  const rim = ring(() => RIM);
  const ground = ring((k) => inward(angles[k]));
  const label = `Horizon from above, north up. ${lines.join(" ")}`;
  const drawing = makeSvg("svg", { viewBox: "-128 -128 256 256", role: "img", "aria-label": label });
  const add = (name, attributes, text) => drawing.append(makeSvg(name, attributes, text));
  add("circle", { class: "horizon-sky", r: RIM });
  for (const [first, last] of findRuns(angles.length, (k) => most[k] > angles[k])) {
    if (first === 0 && last === angles.length - 1) {
      add("path", { class: "horizon-hidden", "fill-rule": "evenodd", d: ground + ring((k) => inward(most[k])) });
      break;
    }
    const run = Array.from({ length: ((last - first + angles.length) % angles.length) + 1 }, (_, k) => (first + k) % angles.length);
    const near = run.map((k) => place(k, inward(angles[k])));
    const far = run.map((k) => place(k, inward(most[k]))).reverse();
    add("path", { class: "horizon-hidden", d: `M${[...near, ...far].join("L")}Z` });
  }
  add("path", { class: "horizon-ground", "fill-rule": "evenodd", d: rim + ground });
  add("circle", { class: "horizon-limit-case", r: inward(OPEN_DEG) });
  add("circle", { class: "horizon-limit", r: inward(OPEN_DEG) });
  const arcs = (holds, name) => {
    for (const [first, last] of findRuns(angles.length, holds)) {
      const length = ((last - first + angles.length) % angles.length) + 1;
      const points = Array.from({ length: length + 1 }, (_, k) => place(first + k - 0.5, RIM + 6));
      add("path", { class: name, d: `M${points.join("L")}` });
    }
  };
  arcs((k) => most[k] <= OPEN_DEG, "horizon-open");
  arcs((k) => angles[k] <= OPEN_DEG && most[k] > OPEN_DEG, "horizon-doubt");
  aims.forEach(([bearing], k) => {
    const [x, y] = place((bearing * angles.length) / 360, RIM).split(" ");
    add("path", { class: "horizon-aim", d: `M0 0L${x} ${y}` });
    add("circle", { class: "horizon-dot", cx: x, cy: y, r: 8 });
    add("text", { x, y: Number(y) + 4, "text-anchor": "middle" }, String(k + 1));
  });
  for (const [wind, x, y] of [["N", 0, -112], ["E", 119, 5], ["S", 0, 125], ["W", -119, 5]]) {
    add("text", { x, y, "text-anchor": "middle" }, wind);
  }
  return drawing;
}

function makeKey(top, doubtful) {
  const more = doubtful ? ", pale where higher ground may stand beyond the heights; a dotted arc: unknown" : "";
  const text = `The rim is the level, the centre ${top}° up; dark is terrain${more}. Dashes: ${OPEN_DEG}°; a thick arc outside: open. Trees and buildings are in no heights.`;
  return makeElement("figcaption", "", text);
}

// Of every 30 degrees the highest, and whether all of it is open.
function makeNumbers(angles, most) {
  const box = makeElement("details", "park-own");
  const table = makeElement("table");
  const head = table.createTHead().insertRow();
  for (const title of ["azimuth", "highest", `up to ${OPEN_DEG}°`]) {
    const cell = makeElement("th", "", title);
    cell.scope = "col";
    head.append(cell);
  }
  const body = table.createTBody();
  const step = angles.length / 12;
  for (let k = 0; k < 12; k++) {
    const some = angles.slice(k * step, (k + 1) * step);
    const state = Math.max(...some) > OPEN_DEG ? "closed" : Math.max(...most.slice(k * step, (k + 1) * step)) > OPEN_DEG ? "unknown" : "open";
    const row = body.insertRow();
    const name = makeElement("th", "", `${30 * k}° to ${30 * k + 30}°`);
    name.scope = "row";
    row.append(name, makeElement("td", "", `${Math.max(...some).toFixed(1)}°`), makeElement("td", "", state));
  }
  box.append(makeElement("summary", "", "In numbers"), table);
  return box;
}
