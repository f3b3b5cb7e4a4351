// The answer to a check as elements: verdict, parks near, lines near, coordinates, what it rests on, cautions.

import { findings } from "./findings.js";
import {
  makeBdi,
  makeElement,
  makeFigures,
  makeHeading,
  makeLink,
  makeParagraph,
  makeParkLabel,
  makeParkName,
  makePicture,
  makePlaceForms,
  makeTerms,
  makeWarningSign,
} from "./elements.js";
import {
  formatBearing,
  formatClearance,
  formatCount,
  formatFineLength,
  formatLength,
  formatPercent,
  formatSentence,
  formatStatedLength,
  formatVerdict,
} from "./wording.js";
import { NEAR_M, UNSURE } from "./check.js";

export const LOOKS = { firm: "firm", doubtful: "doubtful", "not counted": "uncounted", [UNSURE]: "uncounted" };

// What holds the confidence down: parts of a sentence.
function wordDriver({ kind, park }, { verdict }) {
  switch (kind) {
    case "outline":
      return [
        "the outline of ",
        makeParkName(park),
        `, which this page draws to ${formatLength(findings.tolerance)} here`,
      ];
    case "none near":
      return ["no park that this page knows is near"];
    case "outside":
      return ["outside every park that this page knows; ", makeParkName(park), ` is ${formatFineLength(park.edgeM)} away`];
    case "shallow":
      return [`only ${formatFineLength(park.clearance)} inside `, makeParkName(park)];
    case "boundary":
      return ["the boundary of ", makeParkName(park), `, ${formatFineLength(park.clearance)} away`];
    case "grids":
      return [`reaching ${formatCount(verdict.locators.length, "grid")}`];
    default:
      return ["the receiver"];
  }
}

export function makeAnswer(result, title) {
  const story = makeElement("div", "story");
  story.append(makeHead(result, title), ...makeClaim(result), ...makeParkList(result), ...makeLatticeLines(result));
  story.append(...makeCoordinates(result), ...makeAssumptions(result));
  story.append(makeHeading("Cautions", 4), document.querySelector("#cautions ul").cloneNode(true));
  return story;
}

function makeHead({ verdict }, title) {
  const head = makeElement("h3", "story-title");
  head.tabIndex = -1;
  const text = makeElement("span");
  const locators = verdict.locators.join(" ") || "no one grid";
  text.append(makeElement("span", "story-kind", title), " ", makeElement("span", "story-locators", locators));
  head.append(text);
  return head;
}

// The verdict in words; with no park that counts it holds for the parks of this page only.
export function wordClaim({ word, parks: counted, confidence, ifTrue }) {
  if (word === UNSURE) return [`${UNSURE} here`, ""];
  if (!counted.length) return [word, "in the parks that this page knows"];
  return [formatVerdict(word, ifTrue), `confidence ${formatPercent(confidence)}`];
}

function makeClaim(result) {
  const { verdict, driver } = result;
  const unsure = verdict.word === UNSURE;
  const [word, more] = wordClaim(verdict);
  const claim = makeParagraph(`claim ${LOOKS[verdict.word]}`, makePicture(LOOKS[verdict.word], "overlap"), " ");
  claim.append(makeElement("strong", "", word), " ", more);
  const why = makeParagraph("", "What holds it down: ", ...wordDriver(driver, result), ".");
  if (!unsure) return [claim, makeCounts(verdict), why];
  const remedy = "Use the command scout check with the boundary file: it has the whole outline.";
  return [claim, why, makeParagraph("", remedy)];
}

function makeCounts({ locators, parks: counted, word }) {
  const pairs = word === "not counted" ? 0 : locators.length * counted.length;
  return makeFigures({ grids: locators.length, parks: counted.length, "pairs (yield)": pairs });
}

function makeParkList({ parks: near, cell }) {
  const list = makeElement("ul", "near-parks");
  list.append(...near.map((park) => makeParkRow(park, cell)));
  const limits = makeParagraph(
    "aside",
    `This page knows only the ${formatCount(findings.parks.length, "park")} of its findings. ` +
      "Whether another park holds or borders this place, it cannot tell.",
  );
  const none = makeParagraph("", `None within ${formatStatedLength(NEAR_M)}${cell ? " of the cell's centre" : ""}.`);
  return [makeHeading("Parks near", 4), near.length ? list : none, limits];
}

function makeParkRow(park, cell) {
  const row = makeElement("li");
  const sure = makeElement("span", `near-park-p ${LOOKS[park.word]}`);
  sure.append(makeElement("strong", "", formatVerdict(park.word, park.coarse)));
  if (park.word !== UNSURE) sure.append(` ${formatPercent(park.p)}`);
  const head = makeElement("div", "near-park");
  head.append(makeParkLabel(park), sure);
  row.append(head, makeParagraph("", wordClearance(park)));
  if (park.coarse) row.append(makeParagraph("outline-warning", makeWarningSign(), makeBdi(formatSentence(park.coarse))));
  if (cell) row.append(makeParagraph("", `${wordShare(park.share)} of the cell lies inside.`));
  return row;
}

function wordShare(share) {
  if (share > 1 - 1e-9) return "The whole";
  return share < 1e-9 ? "Nothing" : formatPercent(share);
}

function wordClearance({ clearance, strayM, edgeDeg, atInholding, word }) {
  const rough = strayM > 0 ? `, give or take ${formatLength(strayM)}` : "";
  const edge = atInholding ? "nearest edge, an inholding's," : "nearest edge";
  if (word === UNSURE && Math.abs(clearance) <= strayM) return `On the outline as it is drawn${rough}.`;
  return `${formatClearance(clearance)}${rough}; ${edge} to the ${formatBearing(edgeDeg)}.`;
}

function makeLatticeLines({ lines }) {
  const list = makeElement("dl", "lattice-lines");
  for (const line of lines) {
    const away = `${formatFineLength(line.distance)} to the ${formatBearing(line.bearing)}`;
    list.append(makeElement("dt", "", wordLine(line)), makeElement("dd", "", line.distance < 0.05 ? "here" : away));
  }
  return [makeHeading("Nearest lattice lines", 4), list];
}

function wordLine({ kind, lon, lat }) {
  const text = (degrees, plus, minus) => {
    return `${Number(Math.abs(degrees).toFixed(6))}° ${degrees < 0 ? minus : plus}`;
  };
  if (kind === "meridian") return `meridian ${text(lon, "E", "W")}`;
  return kind === "parallel" ? `parallel ${text(lat, "N", "S")}` : "corner";
}

function makeCoordinates({ lon, lat, cell }) {
  const list = makeTerms("coordinates", [[cell ? "Centre of the cell" : "Place checked", ...makePlaceForms(lon, lat)]]);
  return [makeHeading("Coordinates", 4), list];
}

function makeAssumptions({ station, cell, stated }) {
  const parts = [`station of ${formatStatedLength(station.radius)} radius`];
  if (!cell) parts.push(`fix error ${stated ? formatFineLength(station.fixError) : formatStatedLength(station.fixError)}`);
  parts.push(`boundary error ${formatStatedLength(findings.boundaryError)} and the datum's`);
  const more = makeLink("#assumptions", "What that means");
  const rows = [makeParagraph("", `Reckoned with a ${parts.join(", ")} (95 % radii). `, more)];
  if (cell) {
    const whole = "A locator is taken as its whole cell: a park counts by the share of the cell inside it.";
    rows.push(makeParagraph("", whole));
  }
  if (stated) rows.push(...explainStatedError(stated, station.fixError));
  return [makeHeading("What it rests on", 4), ...rows];
}

// A device states the radius of 68 % of its fixes; the award rule is of September 2008: 20 ft.
function explainStatedError(stated, fixError) {
  const rows = [
    makeParagraph(
      "",
      `Your device states ${formatFineLength(stated)}. Phones mean the radius that holds 68 % of fixes, ` +
        `so ${formatFineLength(fixError)}, its 95 % radius, is the fix error of this check.`,
    ),
  ];
  if (stated > 6.1) {
    rows.push(makeParagraph("", "Award rules for grids may refuse a receiver that shows more than 6.1 m (20 ft)."));
  }
  return rows;
}
