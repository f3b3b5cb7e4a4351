// Visits: written, listed, counted, and never lost without a word.

import { byId, make, makeTable, formatCount, putLink, showError } from "./elements.js";
import { sendFile, desk, getOutputPath, runJob } from "./requests.js";
import { readSettings } from "./settings.js";

const EXPORTS = [["journal", ".html", "Journal"], ["visits-table", ".csv", "Visits, table (CSV)"], ["visits-points", ".geojson", "Visits, points (GeoJSON)"]];
let unsaved = false; // visits of a notebook that goes with this window
let warned = false; // that it does, and the user will save it
let waitingVisit = null; // what goes on when it is known where the notebook is kept
let edited = 0; // the number of the visit that is changed
let recording = ""; // that tells where and when the visit was

export const hasUnsaved = () => unsaved;

export async function prepareVisits() {
  sayWhere();
  byId("visit-form").addEventListener("submit", (event) => {
    event.preventDefault();
    writeVisit();
  });
  byId("leave-visit").addEventListener("click", () => openVisitForm(0));
  byId("keep").addEventListener("click", () => askWhere(null));
  byId("keep-form").addEventListener("submit", (event) => {
    event.preventDefault();
    keepThere(byId("keep-form").elements.namedItem("path").value);
  });
  byId("keep-not").addEventListener("click", async () => {
    byId("keep-form").hidden = true;
    warned = true;
    await waitingVisit?.();
  });
  byId("undo").addEventListener("click", () => changeNotebook("undo"));
  byId("tally").addEventListener("click", countVisits);
  byId("save-notebook").addEventListener("click", () => getFile("notebook", {}, "Notebook (GeoPackage)"));
  for (const [id, suffix, label] of EXPORTS) {
    byId(id).addEventListener("click", () => getFile("journal", { suffix, settings: readSettings() }, label));
  }
  byId("bring-notebook").querySelector("input").addEventListener("change", bringNotebook);
  window.addEventListener("beforeunload", (event) => {
    if (unsaved) event.preventDefault();
  });
  if (desk.window.book) await listVisits();
}

function sayWhere() {
  const disk = desk.window.onDisk;
  byId("book-said").textContent = disk
    ? `Visits are kept in ${disk}.`
    : "The notebook goes with this window: it is lost when the window closes or the desk stops, unless it is kept or saved.";
  byId("keep").hidden = Boolean(disk);
  byId("bring-notebook").hidden = Boolean(disk);
}

// Where a notebook is to be kept that would be lost; `then` is what waits for the answer.
function askWhere(then) {
  waitingVisit = then;
  const field = byId("keep-form").elements.namedItem("path");
  if (!field.value) field.value = desk.home;
  showError("wrong-keep");
  byId("keep-form").hidden = false;
  field.focus();
}

async function keepThere(path) {
  showError("wrong-keep");
  try {
    const found = await runJob("keep", { path });
    byId("keep-form").hidden = true;
    sayWhere();
    unsaved = false;
    showVisits(found.visits, found.left_out);
    const then = waitingVisit;
    waitingVisit = null;
    await then?.();
  } catch (error) {
    showError("wrong-keep", error.message, byId("keep-form").elements.namedItem("path"));
  }
}

const getVisitField = (name) => byId("visit-form").elements.namedItem(name);

// A visit to be written: where, by whom, when, or from a recording that tells where and perhaps when.
export function startVisit({ place, call = "", day = "", recording: file = "", dated = false }) {
  openVisitForm(0);
  recording = file;
  getVisitField("place").value = place;
  getVisitField("place").readOnly = Boolean(file);
  getVisitField("call").value = call;
  getVisitField("day").value = day;
  for (const name of ["day", "from"]) getVisitField(name).required = !dated;
  byId("visit-from").hidden = !file;
  byId("visit-from").textContent = file ? `Place, error${dated ? " and start" : ""} are those of ${file}.` : "";
  byId("step-visits").open = true;
  getVisitField(day ? "from" : "day").focus();
}

// The form for a new visit, or for one that is changed.
function openVisitForm(number, fields = {}) {
  edited = number;
  recording = "";
  byId("visit-form").reset();
  showError("wrong-visit");
  byId("visit-from").hidden = true;
  getVisitField("place").readOnly = false;
  for (const name of ["day", "from"]) getVisitField(name).required = true;
  for (const [name, value] of Object.entries(fields)) {
    const field = getVisitField(name);
    if (field) field.value = value;
  }
  const [start, end] = [fields.start ?? "", fields.end ?? ""];
  if (start) [getVisitField("day").value, getVisitField("from").value] = start.split("T");
  if (end) [getVisitField("last-day").value, getVisitField("to").value] = end.split("T");
  byId("visit-title").textContent = number ? `Change visit ${number}` : "Write a visit down";
  byId("write-visit").textContent = number ? "Save the change" : "Write the visit down";
  byId("leave-visit").hidden = !number;
  byId("judge-anew").hidden = !number;
}

// What the form says, its times as the notebook has them: an end before the start is on the next day.
function readVisit() {
  const given = Object.fromEntries(new FormData(byId("visit-form")));
  const { day, from, to, "last-day": last, ...visit } = given;
  if (day && from) visit.start = `${day}T${from}`;
  if (day && to) visit.end = `${last || (to < from ? getNextDay(day) : day)}T${to}`;
  else if (edited) visit.end = "";
  if (recording) Object.assign(visit, { recording, place: "" });
  return visit;
}

function getNextDay(day) {
  const next = new Date(`${day}T00:00Z`);
  next.setUTCDate(next.getUTCDate() + 1);
  return next.toISOString().slice(0, 10);
}

async function writeVisit() {
  showError("wrong-visit");
  if (!edited && !desk.window.onDisk && !warned) {
    askWhere(writeVisit);
    return;
  }
  try {
    const visit = readVisit();
    const found = await runJob(edited ? "edit" : "visit", { number: edited, visit, settings: readSettings() });
    if (!found) return;
    showChange(found);
    showLines(found.lines);
    openVisitForm(0);
  } catch (error) {
    showError("wrong-visit", error.message);
  }
}

function showLines(lines) {
  byId("visit-answer").replaceChildren(
    make("div", { class: "answer" }, ...lines.map((line) => make("p", {}, line.trim().replace(/ {2,}/g, ": ")))),
  );
}

async function editVisit(number) {
  showError("wrong-visits");
  try {
    const found = await runJob("entry", { number });
    openVisitForm(number, found.fields);
    byId("visit-title").scrollIntoView({ block: "nearest" });
    getVisitField("place").focus();
  } catch (error) {
    showError("wrong-visits", error.message);
  }
}

async function changeNotebook(job, number) {
  showError("wrong-visits");
  try {
    const found = await runJob(job, { number });
    if (!found) return;
    showChange(found);
    showLines(found.lines);
  } catch (error) {
    showError("wrong-visits", error.message);
  }
}

function showChange(found) {
  unsaved = !desk.window.onDisk;
  showVisits(found.visits, found.left_out);
}

async function listVisits() {
  try {
    const found = await runJob("visits");
    showVisits(found?.visits ?? [], found?.left_out ?? []);
  } catch (error) {
    showError("wrong-visits", error.message);
  }
}

async function bringNotebook(event) {
  const [file] = event.target.files;
  event.target.value = "";
  showError("wrong-visits");
  if (!file) return;
  if (unsaved && !window.confirm("The visits of this window are not saved. Replace them by that notebook?")) return;
  try {
    await sendFile(file, "notebook");
    unsaved = false;
    await listVisits();
  } catch (error) {
    showError("wrong-visits", error.message);
  }
}

async function getFile(job, given, label) {
  showError("wrong-visits");
  try {
    const { made: name, left_out: leftOut } = await runJob(job, given);
    const without = leftOut ? ` (left out: ${formatCount(leftOut, "row")} that cannot be read)` : "";
    putLink("got-visits", `${label}${without}`, getOutputPath(name));
    if (job === "notebook") {
      byId("got-visits").querySelector("a[download]").addEventListener("click", () => {
        unsaved = false;
      });
    }
  } catch (error) {
    showError("wrong-visits", error.message);
  }
}

const makeAct = (word, number, act) => make("button", { type: "button", click: () => act(number) }, word, make("span", { class: "unseen" }, ` visit ${number}`));
const makeDeletion = (number) => makeAct("Delete", number, () => changeNotebook("delete", number));

function showVisits(visits, leftOut) {
  offerVisits(visits);
  byId("visits-said").textContent = visits.length ? formatCount(visits.length, "visit") : "written down, counted";
  const bad = leftOut.map(({ number, why }) => make("p", { class: "hint" }, `Left out: ${why}. `, makeDeletion(number)));
  if (!visits.length) {
    byId("visits").replaceChildren(...bad, make("p", { class: "hint" }, "None yet."));
    return;
  }
  const rows = visits.map((visit) => [
    String(visit.number),
    visit.start,
    visit.call,
    `${visit.grids.join(" ")} in ${visit.parks.join(", ") || "no park"}`,
    visit.contacts === null ? "" : visit.contacts.toLocaleString("en"),
    make("span", { class: "acts" }, makeAct("Change", visit.number, editVisit), makeDeletion(visit.number)),
  ]);
  const acts = make("span", { class: "unseen" }, "actions");
  byId("visits").replaceChildren(...bad, makeTable(["#", "start, UTC", "call", "where", "contacts", acts], rows, [0, 4]));
}

// The visits that a log may be stamped with.
function offerVisits(visits) {
  const select = byId("log-form").elements.namedItem("visit");
  const chosen = select.value;
  const word = (visit) => `${visit.number}: ${visit.start}, ${visit.grids.join(" ")}${visit.ended ? "" : ", no end"}`;
  select.replaceChildren(...visits.map((visit) => make("option", { value: visit.number }, word(visit))));
  if (visits.some((visit) => String(visit.number) === chosen)) select.value = chosen;
}

async function countVisits() {
  showError("wrong-tally");
  try {
    const found = await runJob("tally", { all: byId("tally-all").checked, settings: readSettings() });
    if (found) showTally(found);
  } catch (error) {
    showError("wrong-tally", error.message);
  }
}

function showTally(found) {
  const count = ([all, fresh]) => `${all} (${fresh} new)`;
  const rows = found.years.map((year) => [String(year.year), String(year.visits), String(year.contacts), ...year.counts.map(count)]);
  const sum = (key) => found.years.reduce((total, year) => total + year[key], 0);
  rows.push(["all", String(sum("visits")), String(sum("contacts")), ...found.all.map(String)]);
  const parts = [
    make("p", { class: "hint" }, `At ${found.level} level; new: not done in a year before.`),
    makeTable(["year", "visits", "contacts", "grids", "parks", "pairs"], rows, [1, 2, 3, 4, 5]),
  ];
  if (found.left_out) parts.push(make("p", { class: "hint" }, `Left out: ${formatCount(found.left_out, "row")} of the notebook that cannot be read; see above.`));
  const { missing } = found;
  if (missing) {
    const cells = missing.rows.map((one) => [one.park, one.away, one.visited ? "visited" : "new", one.grids.join(" ") || "none"]);
    parts.push(make("p", { class: "hint" }, `Within ${missing.within}: ${formatCount(missing.parks, "park")}, ${missing.open} with grids still missing.`));
    if (cells.length) parts.push(makeTable(["park", "from home", "", "grids missing with it"], cells, [1]));
  } else parts.push(make("p", { class: "hint" }, "With boundaries, home and a radius it tells what is missing there."));
  byId("tallied").replaceChildren(...parts);
}
