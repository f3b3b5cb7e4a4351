// All that is known of one spot, in sections.

import { findings, toDegrees, toLatLng } from "./findings.js";
import {
  makeBdi,
  makeBullets,
  makeElement,
  makeExact,
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
import { wrapLongitude } from "./geodesy.js";
import {
  formatBearing,
  formatClearance,
  formatCount,
  formatDecimal,
  formatFineLength,
  formatLength,
  formatPercent,
  formatSentence,
  formatSlope,
} from "./wording.js";
import { KIND_WORDS, parkLabels, wordVerdict } from "./spots.js";
import { makeShortlistPart } from "./shortlist_panel.js";
import { makeNumberedMark } from "./rows.js";
import { makeHorizonDetails } from "./horizon_details.js";
import { makeWalkDetails } from "./walk_details.js";
import { makeHandOff } from "./hand_off.js";

export function makeSpotDetails(spot) {
  const head = makeSpotHead(spot);
  head.id = "details-title";
  head.tabIndex = -1;
  const story = makeElement("div", "story");
  story.append(
    head,
    ...makeFirstParts(spot),
    ...makeHorizonDetails(spot),
    ...makeHandOff(spot),
    ...makeParkTable(spot),
    ...makeCertainty(spot),
    ...makeStretches(spot),
    ...makeNotes(spot),
    ...makeShortlistPart(spot),
    makeHeading("Cautions"),
    document.querySelector("#cautions ul").cloneNode(true),
  );
  return story;
}

// On paper, where a page must hold it: its head stands over the map, what one would press is left out.
export function makePrintedSpot(spot) {
  const story = makeElement("div", "story");
  story.append(
    ...makeFirstParts(spot),
    ...makeParkTable(spot),
    ...makeCertainty(spot),
    ...makeHorizonDetails(spot),
    ...makeNotes(spot),
  );
  for (const node of story.querySelectorAll('a, .horizon ~ details')) node.remove();
  return { head: makeSpotHead(spot), story };
}

function makeFirstParts(spot) {
  return [
    ...makeSpotClaim(spot),
    ...makeWarnings(spot),
    ...makeOutlineWarnings(spot),
    ...makeMiss(spot),
    ...makeStand(spot),
    ...makeWalkDetails(spot),
  ];
}

function makeSpotHead(spot) {
  const head = makeElement("h2", "story-title");
  const text = makeElement("span");
  text.append(
    makeElement("span", "story-kind", `Spot ${spot.rank}: ${KIND_WORDS[spot.kind]}`),
    " ",
    makeElement("span", "story-locators", spot.locators.join(" ")),
  );
  head.append(makeNumberedMark(spot), text);
  return head;
}

function makeSpotClaim(spot) {
  const claim = makeParagraph(`claim ${spot.look}`, makePicture(spot.look, spot.kind), " ");
  claim.append(makeElement("strong", "", wordVerdict(spot)), " ");
  claim.append(spot.near ? "outside every park" : `confidence ${formatPercent(spot.confidence)}`);
  if (spot.near) return [claim];
  const worth = makeFigures({ grids: spot.grids, parks: spot.held, "pairs (yield)": spot.pairs });
  const counts =
    `One contact from here counts for ${formatCount(spot.pairs, "pair")} of grid and park` +
    `${spot.look === "firm" ? "" : ", if it counts"}.${wordMissing(spot)}`;
  const meaning = makeParagraph("aside", makeLink("#words", "What these words mean"));
  return [claim, worth, ...(spot.pairs ? [makeParagraph("worth", counts)] : []), meaning];
}

// What of it the notebook does not hold yet.
function wordMissing(spot) {
  if (!spot.missing) return "";
  const [grids, parks, pairs] = spot.missing;
  if (!pairs) return " All of it is in the notebook.";
  return ` Still missing: ${formatCount(pairs, "pair")}, with ${formatCount(grids, "new grid")} and ${formatCount(parks, "new park")}.`;
}

function makeWarnings(spot) {
  const texts = [...spot.warnings, ...spot.entry];
  if (!texts.length) return [];
  const box = makeElement("div", "warnings");
  box.append(makeHeading("Take care here"), makeBullets(texts.map((text) => [makeWarningSign(), makeBdi(formatSentence(text))])));
  return [box];
}

// Of parks whose outline looks generalised; they come first among the notes.
function makeOutlineWarnings(spot) {
  const texts = spot.notes.slice(0, spot.outlines);
  return texts.map((text) => makeParagraph("outline-warning", makeWarningSign(), makeBdi(formatSentence(text))));
}

function makeNotes(spot) {
  const notes = spot.notes.slice(spot.outlines).filter((note) => !spot.entry.includes(note));
  return notes.length ? [makeHeading("Notes"), makeBullets(notes.map((note) => makeBdi(formatSentence(note))))] : [];
}

function makeMiss({ near }) {
  if (!near) return [];
  const [away, bearing] = near.away;
  const text = ` begins ${formatFineLength(away)} to the ${formatBearing(bearing)}.`;
  return [makeHeading("What it misses"), makeParagraph("", makeParkLabel(near.park), text)];
}

// Where the station's centre goes, seen from the lattice.
function wordStand(spot) {
  const line = spot.stretches.length ? spot.stretches[0][5] : "lattice line";
  const mark = spot.corner ? "corner" : line;
  if (spot.near) return `No place to stand yet: the ${mark} lies outside every park.`;
  if (spot.kind === "place") return "A station is judged here as it stands.";
  if (spot.kind === "overlap") {
    return "Centre the station on this point; the parks overlap here, inside one cell.";
  }
  if (spot.offset) {
    const [away, bearing] = spot.offset;
    return `Centre the station ${formatFineLength(away)} ${formatBearing(bearing)} of the ${mark}.`;
  }
  return spot.kind === "corner"
    ? "Centre the station on the corner itself."
    : `Centre the station on the ${line}.`;
}

function makeStand(spot) {
  const pairs = [[spot.near ? "This point" : "Station centre", ...makePlaceForms(spot.lon, spot.lat, spot.utm)]];
  if (spot.corner && spot.offset) {
    const [lat, lon] = toLatLng(spot.corner);
    pairs.push(["Exact lattice corner", makeExact(formatDecimal(wrapLongitude(lon), lat))]);
  }
  if (spot.home !== undefined) pairs.push(["From home", `${formatLength(1000 * spot.home)}, straight`]);
  if (spot.slope !== undefined) pairs.push(["Slope of the ground", formatSlope(spot.slope)]);
  const beyond = `This point lies beyond the edge of the map, which ends at ${findings.mapEdge.toFixed(2)}° of latitude.`;
  return [
    makeHeading("Where to stand"),
    makeParagraph("", wordStand(spot)),
    makeTerms("coordinates", pairs),
    ...(spot.drawn ? [] : [makeParagraph("", beyond)]),
  ];
}

function makeParkTable(spot) {
  if (spot.near) return [];
  const table = makeElement("table");
  const head = makeElement("tr");
  for (const title of ["park", "boundary", "station inside"]) {
    const cell = makeElement("th", "", title);
    cell.scope = "col";
    head.append(cell);
  }
  table.createTHead().append(head);
  const body = table.createTBody();
  spot.parks.forEach((park, k) => {
    const row = body.insertRow();
    const label = makeElement("th");
    label.scope = "row";
    label.append(makeParkLabel(park));
    row.append(
      label,
      makeElement("td", "", formatClearance(spot.clearances[k])),
      makeElement("td", "", formatPercent(spot.inside[k])),
    );
  });
  return [makeHeading("Parks"), table, ...spot.parks.filter((park) => park.own).map(makeParkRecord)];
}

// What the boundary file itself says of a park.
function makeParkRecord(park) {
  const box = makeElement("details", "park-own");
  const title = makeElement("summary");
  title.append("Of ", makeParkName(park), " in its file");
  box.open = true;
  box.append(title, makeTerms("own", park.own.map(([key, value]) => [key, makeBdi(value)])));
  for (const term of box.querySelectorAll("dt")) term.replaceChildren(makeBdi(term.textContent));
  return box;
}

// What holds the confidence down most.
function wordSpotDriver(spot) {
  const least = spot.inside.reduce((low, p, k) => (p < spot.inside[low] ? k : low), 0);
  if (spot.touching <= spot.inside[least]) {
    return spot.grids > 1 ? [`reaching ${formatCount(spot.grids, "grid")}`] : ["the receiver"];
  }
  const edge = formatFineLength(Math.abs(spot.clearances[least]));
  return ["the boundary of ", makeParkName(spot.parks[least]), `, ${edge} away`];
}

function makeCertainty(spot) {
  if (spot.near || !spot.parks.length) return [];
  const each = spot.parks.length === 1 ? "the park" : "each park";
  const sum =
    `Touching ${formatCount(spot.grids, "grid")}, ${formatPercent(spot.touching)}, and standing inside ${each} ` +
    `at once: ${formatPercent(spot.confidence)}.`;
  const limits = makeParagraph(
    "aside",
    "All at once: one receiver error moves them all. Receiver and boundary errors are taken as 95 % radii. ",
    makeLink("#assumptions", "What this rests on"),
  );
  const driver = makeParagraph("", "What holds it down most: ", ...wordSpotDriver(spot), ".");
  return [makeHeading("How sure"), makeParagraph("", sum), driver, limits];
}

function makeStretches(spot) {
  if (!spot.stretches.length) return [];
  const title = spot.kind === "corner" ? "Lattice lines that lead here" : "The stretch";
  const rows = spot.stretches.map(([x0, y0, x1, y1, length, line, locators, held]) => {
    const end = (x, y) => makeExact(formatDecimal(wrapLongitude(toDegrees(x)), toDegrees(y)));
    const parks = held.flatMap((number, k) => [k ? ", " : "", makeBdi(parkLabels[number].id)]);
    const text = `${formatLength(length)} of the ${line} between ${locators.join(" and ")}, from `;
    return [text, end(x0, y0), " to ", end(x1, y1), ", in ", ...parks];
  });
  return [makeHeading(title), makeBullets(rows)];
}
