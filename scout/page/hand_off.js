// A spot handed on: to the phone's map program, to another person, to a receiver. The car comes first, then the spot.

import { findings, toLatLng } from "./findings.js";
import { byId, makeBdi, makeElement, makeExact, makeHeading, makeLink, makeParagraph } from "./elements.js";
import { wrapLongitude } from "./geodesy.js";
import { formatClearance, formatDecimal, formatDuration, formatGeoLink, formatLength, formatPercent, formatSentence } from "./wording.js";
import { unpackRing } from "./outlines.js";
import { formatSpotName, isWalked, spots, wordVerdict } from "./spots.js";
import { framed } from "./storage.js";
import { inOrder } from "./filters.js";
import { isPicked } from "./shortlist_panel.js";
import { copyText, saveFile } from "./save_file.js";
import { makeOneLine, makePlacesGpx } from "./gpx.js";
import { makePlacesKml } from "./kml.js";

const handNote = byId("hand-note");

// Where the car stays, if the walk tells.
function findCar({ walk }) {
  if (!walk?.start) return null;
  const [lat, lon] = toLatLng(walk.start);
  const name = [walk.startKind || "start", walk.startName].filter(Boolean).map(makeOneLine).join(", ");
  return { lon: wrapLongitude(lon), lat, name };
}

function listCautions() {
  return [...document.querySelectorAll("#cautions li")].map((item) => makeOneLine(item.textContent));
}

// What a receiver's small screen should say of a spot, the dangers first.
function listFacts(spot) {
  const label = (park) => makeOneLine(`${park.name || ""} ${park.id}`);
  const lines = spot.warnings.map((text) => `Take care: ${formatSentence(text)}`);
  if (spot.near) lines.push(`Near miss, outside every park; the nearest is ${label(spot.near.park)}.`);
  else {
    lines.push(`${wordVerdict(spot)}, confidence ${formatPercent(spot.confidence)}.`);
    if (spot.parks.length) lines.push(`Parks: ${spot.parks.map(label).join("; ")}.`);
    if (Number.isFinite(spot.clearance)) lines.push(`Least clearance: ${formatClearance(spot.clearance)}.`);
  }
  return [...lines, ...wordWay(spot), ...spot.notes.map(formatSentence)].map(makeOneLine);
}

function wordWay({ walk }) {
  if (!walk) return [];
  if (walk.state !== "walked") return [`Walk: ${walk.state}${walk.reason ? `, ${formatSentence(walk.reason)}` : ""}.`];
  const far = walk.length === undefined ? "" : `, ${formatLength(walk.length)}`;
  return [`Walk: ${formatDuration(walk.out)} out, ${formatDuration(walk.back ?? walk.out)} back${far}.`];
}

// One spot as a short text that stands by itself.
function writeSpotText(spot) {
  const car = findCar(spot);
  const place = (name, { lon, lat }) => `${name}: ${formatDecimal(lon, lat)} ${formatGeoLink(lon, lat)}`;
  return [
    ...(makeOneLine(document.title) ? [makeOneLine(document.title)] : []),
    `Spot ${formatSpotName(spot)}`,
    ...(car ? [place(`Car (${car.name})`, car)] : []),
    place("Spot", spot),
    ...listFacts(spot),
    listCautions()[0],
  ].join("\n");
}

// Where a copy of this page on a web space shows the spot; a file has no address that others could open.
function findSpotAddress(spot) {
  const { protocol, origin, pathname } = window.location;
  return !framed && /^https?:$/.test(protocol) ? `${origin}${pathname}#spot=${spot.rank}` : "";
}

export function makeHandOff(spot) {
  const car = findCar(spot);
  const note = makeParagraph("hand-note");
  note.setAttribute("role", "status");
  const steps = makeElement("ol", "hand-steps");
  if (car) steps.append(makeStep("The car first: ", car.name, car, note));
  steps.append(makeStep(car ? "then the spot" : "The spot", "", spot, note));
  const share = makeElement("button", "", navigator.share ? "Share this spot" : "Copy this spot as text");
  share.type = "button";
  share.addEventListener("click", () => shareSpot(spot, note));
  const buttons = makeElement("div", "hand-buttons");
  const print = makeElement("button", "", "Print this spot");
  print.type = "button";
  print.addEventListener("click", () => window.print());
  const printing = makeElement("div", "hand-print");
  buttons.append(share);
  printing.append(print);
  return [makeHeading("Take it along"), steps, buttons, note, printing];
}

function makeStep(lead, name, { lon, lat }, note) {
  const step = makeElement("li");
  const text = formatDecimal(lon, lat);
  const copy = makeElement("button", "", "Copy");
  copy.type = "button";
  copy.setAttribute("aria-label", `Copy ${text}`);
  copy.addEventListener("click", () => putOnClipboard(text, note));
  const row = makeElement("div", "hand-row");
  row.append(makeLink(formatGeoLink(lon, lat), "Open in a map program"), makeExact(text), copy);
  step.append(lead, makeBdi(name), row);
  return step;
}

async function putOnClipboard(text, note) {
  const done = await copyText(text);
  note.textContent = done ? "Copied." : "This browser copies nothing for this page. Mark the text and copy it:";
  if (done) return;
  const field = makeElement("textarea");
  field.readOnly = true;
  field.rows = Math.min(text.split("\n").length + 1, 8);
  field.setAttribute("aria-label", "Text to copy");
  field.value = text;
  note.append(field);
  field.select();
}

async function shareSpot(spot, note) {
  const [text, url] = [writeSpotText(spot), findSpotAddress(spot)];
  if (navigator.share) {
    try {
      await navigator.share({ title: `Spot ${formatSpotName(spot)}`, text, ...(url && { url }) });
      return;
    } catch (error) {
      if (error.name === "AbortError") return; // the reader thought better of it
    }
  }
  await putOnClipboard(url ? `${text}\n${url}` : text, note);
}

// Files of several spots

function listPlaces(chosenSpots) {
  const cars = new Map();
  for (const spot of chosenSpots) {
    const car = findCar(spot);
    if (!car) continue;
    const key = formatDecimal(car.lon, car.lat);
    const known = cars.get(key) ?? { ...car, ranks: [] };
    known.ranks.push(spot.rank);
    cars.set(key, known);
  }
  const parking = [...cars.values()].map(({ lon, lat, name, ranks }) => {
    return { lon, lat, name: `Car for ${ranks.join(", ")}: ${name}`, description: "Where the car stays.", symbol: "Parking" };
  });
  const cautions = listCautions().join(" ");
  return [...parking, ...chosenSpots.map((spot) => ({ ...describe(spot, formatSpotName(spot), cautions), symbol: "Flag" }))];
}

function describe(spot, name, cautions) {
  return { lon: spot.lon, lat: spot.lat, name: makeOneLine(name), description: [...listFacts(spot), cautions].join(" ") };
}

function listWalks(chosenSpots) {
  return chosenSpots.filter((spot) => isWalked(spot) && spot.walk.line).map((spot) => {
    const { lon, lat } = unpackRing(spot.walk.line, findings.unitsPerDegree);
    return {
      name: `${spot.rank} walk`,
      description: [...wordWay(spot), "Drawn in short by the map; look at the ground."].join(" "),
      line: Array.from(lon, (x, k) => [wrapLongitude(x), lat[k]]),
    };
  });
}

function saveSpots(suffix, write, type) {
  const wanted = byId("hand-which").value;
  const taken = wanted === "picked" ? spots.filter(isPicked) : inOrder.filter((spot) => spot.shown);
  if (!taken.length) {
    handNote.textContent = wanted === "picked" ? "The shortlist is empty: tick spots in the list." : "No spot is shown.";
    return;
  }
  const credit = `From the map ${makeOneLine(document.title)}. ${listCautions().join(" ")}`;
  saveFile(`spots.${suffix}`, write(makeOneLine(document.title), credit, listPlaces(taken), listWalks(taken)), type);
  handNote.textContent = `Saved as spots.${suffix}: ${taken.length} of ${spots.length}.`;
}

byId("hand-gpx").addEventListener("click", () => saveSpots("gpx", makePlacesGpx, "application/gpx+xml"));
byId("hand-kml").addEventListener("click", () => saveSpots("kml", makePlacesKml, "application/vnd.google-earth.kml+xml"));
