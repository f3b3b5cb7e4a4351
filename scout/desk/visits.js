// Visits: written, listed, counted, and never lost without a word.

import { byId, make, formatCount, putLink, showError } from "./elements.js";
import { sendFile, desk, getOutputPath, runJob } from "./requests.js";
import { readSettings } from "./settings.js";

let unsaved = false; // visits of a notebook that goes with this window

export const hasUnsaved = () => unsaved;

export async function prepareVisits() {
  const disk = desk.window.onDisk;
  byId("book-said").textContent = disk
    ? `Visits are kept in ${disk}.`
    : "Visits go into a notebook that is lost when this window closes or the desk stops: save it, and bring it " +
      "again next time. Started with --notebook FILE, the desk keeps one for good.";
  byId("bring-notebook").hidden = Boolean(disk);
  byId("visit-form").addEventListener("submit", writeVisit);
  byId("undo").addEventListener("click", () => changeNotebook("undo"));
  byId("tally").addEventListener("click", countVisits);
  byId("save-notebook").addEventListener("click", () => getFile("notebook", {}, "Notebook (GeoPackage)"));
  byId("journal").addEventListener("click", () => getFile("journal", { suffix: ".html", settings: readSettings() }, "Journal"));
  byId("bring-notebook").querySelector("input").addEventListener("change", bringNotebook);
  window.addEventListener("beforeunload", (event) => {
    if (unsaved) event.preventDefault();
  });
  if (desk.window.book) await listVisits();
}

export function startVisit(place, call, day) {
  const { elements } = byId("visit-form");
  elements.namedItem("place").value = place;
  elements.namedItem("call").value = call;
  if (day) elements.namedItem("start").value = `${day}T`;
  byId("step-visits").open = true;
  elements.namedItem("start").focus();
}

async function writeVisit(event) {
  event.preventDefault();
  showError("wrong-visit");
  try {
    const visit = Object.fromEntries(new FormData(byId("visit-form")));
    const found = await runJob("visit", { visit, settings: readSettings() });
    if (!found) return;
    showChange(found);
    byId("visit-answer").replaceChildren(
      make("div", { class: "answer" }, ...found.lines.map((line) => make("p", {}, line.trim().replace(/ {2,}/g, ": ")))),
    );
  } catch (error) {
    showError("wrong-visit", error.message);
  }
}

async function changeNotebook(job, number) {
  showError("wrong-visits");
  try {
    const found = await runJob(job, { number });
    if (found) showChange(found);
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

const makeRow = (tag, cells, numbers = []) =>
  make("tr", {}, ...cells.map((cell, k) => make(tag, { class: numbers.includes(k) ? "number" : null, scope: tag === "th" ? "col" : null }, cell)));

function makeTable(heads, rows, numbers) {
  return make("table", {}, make("thead", {}, makeRow("th", heads, numbers)), make("tbody", {}, ...rows.map((cells) => makeRow("td", cells, numbers))));
}

const makeDeletion = (number) =>
  make("button", { type: "button", click: () => changeNotebook("delete", number) }, "Delete", make("span", { class: "unseen" }, ` visit ${number}`));

function showVisits(visits, leftOut) {
  byId("visits-said").textContent = visits.length ? formatCount(visits.length, "visit") : "visits and the tally";
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
    makeDeletion(visit.number),
  ]);
  const acts = make("span", { class: "unseen" }, "actions");
  byId("visits").replaceChildren(...bad, makeTable(["#", "start, UTC", "call", "where", "contacts", acts], rows, [0, 4]));
}

async function countVisits() {
  showError("wrong-tally");
  try {
    const found = await runJob("tally", { settings: readSettings() });
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
    const cells = missing.rows.map((one) => [one.park, one.away, one.visited ? "visited" : "new", one.grids.join(" ")]);
    parts.push(make("p", { class: "hint" }, `Within ${missing.within}: ${formatCount(missing.parks, "park")}, ${missing.open} with grids still missing.`));
    if (cells.length) parts.push(makeTable(["park", "from home", "", "grids missing with it"], cells, [1]));
  } else parts.push(make("p", { class: "hint" }, "With boundaries, home and a radius it tells what is missing there."));
  byId("tallied").replaceChildren(...parts);
}
