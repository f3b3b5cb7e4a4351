// Visits: written, listed, counted, and never lost without a word.

import { byId, make, plural, putMade, wrong } from "./pieces.js";
import { bring, desk, made, work } from "./talk.js";
import { settings } from "./wish.js";

let unsaved = false; // visits of a notebook that goes with this window

export const anyUnsaved = () => unsaved;

export async function prepareVisits() {
  const disk = desk.window.onDisk;
  byId("book-said").textContent = disk
    ? `Visits are kept in ${disk}.`
    : "Visits go into a notebook that is lost when this window closes or the desk stops: save it, and bring it " +
      "again next time. Started with --notebook FILE, the desk keeps one for good.";
  byId("bring-notebook").hidden = Boolean(disk);
  byId("visit-form").addEventListener("submit", write);
  byId("undo").addEventListener("click", () => change("undo"));
  byId("tally").addEventListener("click", tally);
  byId("save-notebook").addEventListener("click", () => get("notebook", {}, "Notebook (GeoPackage)"));
  byId("journal").addEventListener("click", () => get("journal", { suffix: ".html", settings: settings() }, "Journal"));
  byId("bring-notebook").querySelector("input").addEventListener("change", bringBook);
  window.addEventListener("beforeunload", (event) => {
    if (unsaved) event.preventDefault();
  });
  if (desk.window.book) await list();
}

export function visitAt(place, call, day) {
  const { elements } = byId("visit-form");
  elements.namedItem("place").value = place;
  elements.namedItem("call").value = call;
  if (day) elements.namedItem("start").value = `${day}T`;
  byId("step-visits").open = true;
  elements.namedItem("start").focus();
}

async function write(event) {
  event.preventDefault();
  wrong("wrong-visit");
  try {
    const visit = Object.fromEntries(new FormData(byId("visit-form")));
    const found = await work("visit", { visit, settings: settings() });
    if (!found) return;
    changed(found);
    byId("visit-answer").replaceChildren(
      make("div", { class: "answer" }, ...found.lines.map((line) => make("p", {}, line.trim().replace(/ {2,}/g, ": ")))),
    );
  } catch (error) {
    wrong("wrong-visit", error.message);
  }
}

async function change(job, number) {
  wrong("wrong-visits");
  try {
    const found = await work(job, { number });
    if (found) changed(found);
  } catch (error) {
    wrong("wrong-visits", error.message);
  }
}

function changed(found) {
  unsaved = !desk.window.onDisk;
  show(found.visits, found.left_out);
}

async function list() {
  try {
    const found = await work("visits");
    show(found?.visits ?? [], found?.left_out ?? []);
  } catch (error) {
    wrong("wrong-visits", error.message);
  }
}

async function bringBook(event) {
  const [file] = event.target.files;
  event.target.value = "";
  wrong("wrong-visits");
  if (!file) return;
  if (unsaved && !window.confirm("The visits of this window are not saved. Replace them by that notebook?")) return;
  try {
    await bring(file, "notebook");
    unsaved = false;
    await list();
  } catch (error) {
    wrong("wrong-visits", error.message);
  }
}

async function get(job, given, label) {
  wrong("wrong-visits");
  try {
    const { made: name, left_out: leftOut } = await work(job, given);
    const without = leftOut ? ` (left out: ${plural(leftOut, "row")} that cannot be read)` : "";
    putMade("got-visits", `${label}${without}`, made(name));
    if (job === "notebook") {
      byId("got-visits").querySelector("a[download]").addEventListener("click", () => {
        unsaved = false;
      });
    }
  } catch (error) {
    wrong("wrong-visits", error.message);
  }
}

const row = (tag, cells, numbers = []) =>
  make("tr", {}, ...cells.map((cell, k) => make(tag, { class: numbers.includes(k) ? "number" : null, scope: tag === "th" ? "col" : null }, cell)));

function table(heads, rows, numbers) {
  return make("table", {}, make("thead", {}, row("th", heads, numbers)), make("tbody", {}, ...rows.map((cells) => row("td", cells, numbers))));
}

const deletion = (number) =>
  make("button", { type: "button", click: () => change("delete", number) }, "Delete", make("span", { class: "unseen" }, ` visit ${number}`));

function show(visits, leftOut) {
  byId("visits-said").textContent = visits.length ? plural(visits.length, "visit") : "visits and the tally";
  const bad = leftOut.map(({ number, why }) => make("p", { class: "hint" }, `Left out: ${why}. `, deletion(number)));
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
    deletion(visit.number),
  ]);
  const acts = make("span", { class: "unseen" }, "actions");
  byId("visits").replaceChildren(...bad, table(["#", "start, UTC", "call", "where", "contacts", acts], rows, [0, 4]));
}

async function tally() {
  wrong("wrong-tally");
  try {
    const found = await work("tally", { settings: settings() });
    if (found) showTally(found);
  } catch (error) {
    wrong("wrong-tally", error.message);
  }
}

function showTally(found) {
  const count = ([all, fresh]) => `${all} (${fresh} new)`;
  const rows = found.years.map((year) => [String(year.year), String(year.visits), String(year.contacts), ...year.counts.map(count)]);
  const sum = (key) => found.years.reduce((total, year) => total + year[key], 0);
  rows.push(["all", String(sum("visits")), String(sum("contacts")), ...found.all.map(String)]);
  const parts = [
    make("p", { class: "hint" }, `At ${found.level} level; new: not done in a year before.`),
    table(["year", "visits", "contacts", "grids", "parks", "pairs"], rows, [1, 2, 3, 4, 5]),
  ];
  if (found.left_out) parts.push(make("p", { class: "hint" }, `Left out: ${plural(found.left_out, "row")} of the notebook that cannot be read; see above.`));
  const { missing } = found;
  if (missing) {
    const cells = missing.rows.map((one) => [one.park, `${one.km} km`, one.visited ? "visited" : "new", one.grids.join(" ")]);
    parts.push(make("p", { class: "hint" }, `Within ${missing.within_km} km: ${plural(missing.parks, "park")}, ${missing.open} with grids still missing.`));
    if (cells.length) parts.push(table(["park", "from home", "", "grids missing with it"], cells, [1]));
  } else parts.push(make("p", { class: "hint" }, "With boundaries, home and a radius it tells what is missing there."));
  byId("tallied").replaceChildren(...parts);
}
