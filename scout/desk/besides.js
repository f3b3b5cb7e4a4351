// Jobs beside the search: a log stamped, a locator looked up, boundaries compared and prepared.

import { byId, make, makeTable, putLink, showError } from "./elements.js";
import { desk, getOutputPath, runJob, sendFiles } from "./requests.js";
import { readSettings } from "./settings.js";
import { getFileField, hasParks, makeFileHead, takeFiles } from "./files.js";

const NO_PARKS = "Bring boundary files first.";
const readForm = (id) => Object.fromEntries(new FormData(byId(id)));

// A form whose job is done when it is sent; what is wrong stands below it.
function onSubmit(form, wrong, work) {
  byId(form).addEventListener("submit", async (event) => {
    event.preventDefault();
    showError(wrong);
    try {
      await work(readForm(form));
    } catch (error) {
      showError(wrong, error.message);
    }
  });
}

export function prepareBesides() {
  onSubmit("locate-form", "wrong-locate", async ({ place }) => {
    const { head, rows } = await runJob("locate", { place });
    byId("located").replaceChildren(make("p", { class: "hint" }, head.replace(/ {2,}/g, ", ")), makeTable([], rows));
  });
  onSubmit("compare-form", "wrong-compare", compareBoundaries);
  onSubmit("prepare-form", "wrong-prepare", async ({ keep }) => {
    if (!hasParks()) throw new Error(NO_PARKS);
    const columns = keep.split(";").map((one) => one.trim()).filter(Boolean);
    const found = await runJob("prepare", { keep: columns, settings: readSettings() });
    if (found) putLink("got-prepare", `Prepared: ${found.counts}`, getOutputPath(found.made));
  });
  onSubmit("log-form", "wrong-stamp", stampLog);
  takeFiles(getFileField("old"), async (files) => {
    showError("wrong-old", await sendFiles(files, "old"));
    showOld();
  });
  takeFiles(getFileField("log"), async (files) => {
    showError("wrong-log", await sendFiles(files.slice(0, 1), "log"));
    showLog();
  });
  showOld();
  showLog();
}

function showOld() {
  const names = desk.window.roles.old ?? [];
  byId("files-old").replaceChildren(...names.map((name) => make("li", {}, makeFileHead(name, showOld))));
}

function showLog() {
  const [name] = desk.window.roles.log ?? [];
  byId("log-said").textContent = name ?? "ADIF (.adi), or drop it here";
}

async function compareBoundaries({ visits }) {
  if (!hasParks()) throw new Error(NO_PARKS);
  if (!(desk.window.roles.old ?? []).length) throw new Error("Bring the older boundaries first.");
  const found = await runJob("compare", { visits: Boolean(visits), settings: readSettings() });
  if (!found) return;
  byId("compared").replaceChildren(
    make(
      "div",
      { class: "answer" },
      make("p", {}, make("strong", {}, found.counts)),
      make("details", {}, make("summary", {}, "All of it"), make("pre", { tabindex: "0" }, found.lines.join("\n"))),
    ),
  );
  const [page, points] = found.made;
  putLink("got-compare", "What changed, as GeoJSON", getOutputPath(points));
  putLink("got-compare", "Map of what changed", getOutputPath(page));
}

async function stampLog(given) {
  const [file] = desk.window.roles.log ?? [];
  if (!file) throw new Error("Choose a log first.");
  if (!given.visit) throw new Error("Write the visit down first.");
  const found = await runJob("stamp", { ...given, file });
  byId("stamped").replaceChildren(make("div", { class: "answer" }, ...found.lines.map((line) => make("p", {}, line))));
  byId("got-log").replaceChildren();
  for (const name of [...found.made].reverse()) putLink("got-log", name, getOutputPath(name));
}
