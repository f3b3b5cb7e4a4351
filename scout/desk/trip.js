// A day with several of the spots: planned when asked for, and planned again as its times are changed.

import { byId, debounce, make, makeTable, putLink, showError } from "./elements.js";
import { getFindings } from "./search.js";
import { getOutputPath, runJob } from "./requests.js";
import { clearFieldErrors, readAllSettings, showSettingError } from "./settings.js";

const FILES = [["pack", "Pack: all of it, a card for each place"], ["ics", "Calendar"], ["gpx", "Route and walks (GPX)"], ["sheet", "Sheet of the day"], ["map", "Map with the tours"]];
let planned = false;
let latestPlan = 0;

export function prepareTrip() {
  const form = byId("trip-form");
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    plan();
  });
  form.addEventListener("input", debounce(600, () => {
    if (planned && form.elements.namedItem("date").value) plan();
  }));
}

async function plan() {
  showError("wrong-trip");
  clearFieldErrors();
  const found = getFindings();
  if (!found) return showError("wrong-trip", "Search first.");
  latestPlan += 1;
  const mine = latestPlan;
  const form = byId("trip-form").elements;
  const given = Object.fromEntries(["date", "zone", "call"].map((name) => [name, form.namedItem(name).value]));
  try {
    const trip = await runJob("trip", { ...given, list: found.made, settings: readAllSettings() });
    if (trip && mine === latestPlan) showTrip(trip);
  } catch (error) {
    if (mine === latestPlan) showSettingError(error, "wrong-trip");
  }
  return undefined;
}

function showTrip({ tours, notes, made }) {
  planned = true;
  byId("toured").replaceChildren(
    ...tours.map((tour, k) => makeTour(tour, k)),
    make("details", {}, make("summary", {}, "What it rests on"), ...notes.map((note) => make("p", {}, note))),
  );
  byId("got-trip").replaceChildren();
  for (const [kind, label] of FILES) putLink("got-trip", label, getOutputPath(made[kind]));
}

function makeTour({ worth, proof, days }, k) {
  const told = days.flatMap((day) => [
    make("h3", {}, day.head),
    makeTable([], day.lines),
    ...day.cautions.map((text) => make("p", { class: "wrong" }, text)),
  ]);
  const head = make("strong", {}, k ? `Tour ${k + 1}: ${worth}` : `Best tour: ${worth}`);
  if (!k) return make("div", { class: "answer" }, make("p", {}, head), make("p", { class: "hint" }, proof), ...told);
  return make("details", {}, make("summary", {}, head), make("p", { class: "hint" }, proof), ...told);
}
