// The walk to a spot in words, and its heights as a picture.

import { toLatLng } from "./findings.js";
import {
  makeBdi,
  makeElement,
  makeExact,
  makeFigures,
  makeHeading,
  makeLink,
  makeParagraph,
  makeSvg,
  makeTerms,
  makeWarningSign,
} from "./elements.js";
import { wrapLongitude } from "./geodesy.js";
import { formatDecimal, formatDuration, formatGeoLink, formatHeight, formatLength, formatSentence } from "./wording.js";
import { unpackRing } from "./outlines.js";

export function makeWalkDetails(spot) {
  const { walk } = spot;
  if (!walk) return [];
  if (walk.state === "walked") return [makeHeading("The walk"), ...makeWalked(walk)];
  const lead = walk.state === "unknown" ? "Walking time not worked out" : "Out of reach on foot";
  const why = makeParagraph("walk-state", makeWarningSign(), " ", makeElement("strong", "", lead));
  if (walk.reason) why.append(": ", makeBdi(formatSentence(walk.reason)));
  return [makeHeading("The walk"), why, ...makeWalkStart(walk, "Nearest place to start from")];
}

function makeWalked(walk) {
  const times = makeFigures({ "out": formatDuration(walk.out), "back": formatDuration(walk.back ?? walk.out) });
  times.classList.add("times");
  const facts = [];
  if (walk.length !== undefined) facts.push(`${formatLength(walk.length)} each way`);
  facts.push(walk.climb === undefined ? "climb not known" : `${formatHeight(walk.climb)} of climb on the way out`);
  if (walk.off !== undefined) {
    facts.push(walk.off < 0.5 ? "on paths all the way" : `${formatLength(walk.off)} off paths`);
  }
  return [
    times,
    makeParagraph("", `${facts.join(", ")}.`),
    ...makeProfile(walk.profile),
    ...makeWalkStart(walk, "Leave the car at"),
    makeParagraph("aside", "Reckoned from the access data. Look at the ground before you trust it."),
  ];
}

function makeWalkStart(walk, title) {
  if (!walk.start) return [];
  const [lat, lon] = toLatLng(walk.start);
  const label = makeElement("span");
  label.append(walk.startKind || "start", walk.startName ? ", " : "", makeBdi(walk.startName ?? ""));
  const pairs = [[title, label, makeExact(formatDecimal(wrapLongitude(lon), lat)), makeLink(formatGeoLink(wrapLongitude(lon), lat))]];
  if (walk.straight !== undefined) pairs.push(["Straight from there", formatLength(walk.straight)]);
  return [makeTerms("coordinates", pairs)];
}

// Heights along the walk, packed as points of distance and height, metres.
function makeProfile(packed) {
  if (!packed) return [];
  const { lon: distances, lat } = unpackRing(packed, 1);
  const heights = [...lat];
  const points = heights.map((height, k) => [distances[k], height]);
  const [low, high] = [Math.min(...heights), Math.max(...heights)];
  const far = points[points.length - 1][0] || 1;
  const span = Math.max(high - low, 20); // a flat walk looks flat
  const [width, tall, top] = [300, 70, 8];
  const x = (distance) => ((distance / far) * width).toFixed(1);
  const y = (height) => (top + (1 - (height - low) / span) * (tall - top - 6)).toFixed(1);
  const line = points.map(([distance, height]) => `${x(distance)} ${y(height)}`).join("L");
  const label =
    `Heights along the walk: ${formatHeight(heights[0])} at the start, ${formatHeight(heights[heights.length - 1])} at the spot, ` +
    `lowest ${formatHeight(low)}, highest ${formatHeight(high)}, over ${formatLength(far)}`;
  const drawing = makeSvg("svg", { viewBox: `0 0 ${width} ${tall}`, role: "img", "aria-label": label });
  drawing.append(
    makeSvg("path", { class: "profile-ground", d: `M0 ${tall}L${line}L${width} ${tall}Z` }),
    makeSvg("path", { class: "profile-line", d: `M${line}` }),
  );
  const figure = makeElement("figure", "profile");
  const ends = makeElement("figcaption");
  ends.append(
    makeElement("span", "", `start ${formatHeight(heights[0])}`),
    makeElement("span", "", low === high ? "level" : `${formatHeight(low)} to ${formatHeight(high)}`),
    makeElement("span", "", `spot ${formatHeight(heights[heights.length - 1])}`),
  );
  figure.append(drawing, ends);
  return [figure];
}
