// A place to check; a card, a pack and files of the spots that were found.

import { byId, make, putLink, showError } from "./elements.js";
import { getFindings } from "./search.js";
import { getOutputPath, runJob } from "./requests.js";
import { readSettings } from "./settings.js";
import { showMapsOnPhone, openOnMap, showMap } from "./maps.js";
import { startVisit } from "./visits.js";

const FORMATS = [[".gpx", "GPX"], [".kml", "KML"], [".kmz", "KMZ"], [".csv", "Table (CSV)"], [".geojson", "GeoJSON"], [".gpkg", "GeoPackage"]];
let foundSpots = [];
let checkedPlace = "";

const getDayField = (form, name) => byId(form).elements.namedItem(name);
const formatPlace = (spot) => `${spot.lat.toFixed(6)}, ${spot.lon.toFixed(6)}`;

export function prepareDay() {
  byId("check-form").addEventListener("submit", (event) => {
    event.preventDefault();
    checkPlace(getDayField("check-form", "place").value);
  });
  byId("check-on-map").addEventListener("click", () => {
    showMap("spots");
    showMapsOnPhone(true);
    openOnMap(`#check=${checkedPlace}`);
  });
  byId("day").addEventListener("submit", (event) => event.preventDefault());
  getDayField("day", "spot").addEventListener("input", () => {
    const spot = getChosenSpot();
    describeSpot(spot);
    if (spot) openOnMap(`#spot=${spot.rank}`);
  });
  byId("card").addEventListener("click", () => makeOutput("card", (given) => `Card of spot ${given.spot}`));
  byId("pack").addEventListener("click", () => makeOutput("pack", (given) => `Pack of ${given.spots}`));
  byId("check-spot").addEventListener("click", () => {
    const spot = getChosenSpot();
    if (!spot) return showError("wrong-day", "Choose a spot first.");
    byId("step-check").open = true;
    getDayField("check-form", "place").value = formatPlace(spot);
    checkPlace(formatPlace(spot));
    return byId("step-check").scrollIntoView({ block: "nearest" });
  });
  byId("visit-spot").addEventListener("click", () => {
    const spot = getChosenSpot();
    if (!spot) showError("wrong-day", "Choose a spot first.");
    else startVisit(formatPlace(spot), getDayField("day", "call").value, getDayField("day", "date").value);
  });
  byId("formats").append(
    ...FORMATS.map(([suffix, words]) => make("button", { type: "button", click: () => saveSpots(suffix, words) }, words)),
  );
}

export function getChosenSpot() {
  const rank = Number(getDayField("day", "spot").value);
  return foundSpots.find((spot) => spot.rank === rank) ?? null;
}

// After a search: the spots to choose from.
export function offerSpots(found, spot) {
  foundSpots = found.spots;
  byId("day").hidden = !foundSpots.length;
  byId("day-first").hidden = foundSpots.length > 0;
  byId("check-on-map").disabled = !checkedPlace;
  getDayField("day", "spot").value = spot?.rank ?? "";
  byId("got-day").replaceChildren();
  byId("got-saved").replaceChildren();
  describeSpot(spot);
}

// Chosen on the map.
export function chooseSpot(rank) {
  getDayField("day", "spot").value = rank;
  if (!getDayField("day", "spots").value.trim()) getDayField("day", "spots").placeholder = String(rank);
  describeSpot(getChosenSpot());
}

function describeSpot(spot) {
  const place = byId("spot-said");
  showError("wrong-day");
  byId("day-said").textContent = spot ? `spot ${spot.rank}` : foundSpots.length ? "choose a spot" : "after a search";
  if (!spot) {
    place.textContent = foundSpots.length ? "Choose a spot in the list, on the map, or by its number." : "";
    return;
  }
  const where = spot.near ? "a near miss: nothing counts there" : `${spot.verdict}, in ${spot.names.join(", ")}`;
  place.replaceChildren(
    make("b", {}, `Spot ${spot.rank}`),
    `: ${spot.kind.replace("-", " ")}, ${where}; ${spot.locators.join(" ")} at ${formatPlace(spot)}`,
    ...spot.warnings.map((text) => make("span", { class: "wrong" }, ` Warning: ${text}`)),
  );
}

async function makeOutput(job, label) {
  showError("wrong-day");
  const given = Object.fromEntries(new FormData(byId("day")));
  given.spots = given.spots.trim() || given.spot;
  if (!given.spot && job === "card") return showError("wrong-day", "Choose a spot first.");
  if (!given.spots && job === "pack") return showError("wrong-day", "Say which spots, such as 1 3 5-7.");
  if (!Number.isInteger(Number(given.spot))) return showError("wrong-day", "The number of a spot is a whole number.");
  try {
    const { made: name } = await runJob(job, { ...given, list: getFindings().made, settings: readSettings() });
    putLink("got-day", label(given), getOutputPath(name));
  } catch (error) {
    showError("wrong-day", error.message);
  }
  return undefined;
}

async function saveSpots(suffix, words) {
  showError("wrong-day");
  try {
    const { made: name } = await runJob("save", { suffix, list: getFindings().made });
    putLink("got-saved", `All spots, ${words}`, getOutputPath(name));
  } catch (error) {
    showError("wrong-day", error.message);
  }
}

async function checkPlace(place) {
  showError("wrong-check", "", getDayField("check-form", "place"));
  try {
    const found = await runJob("check", { place, settings: readSettings() });
    if (found) showVerdict(found);
  } catch (error) {
    showError("wrong-check", error.message, getDayField("check-form", "place"));
  }
}

function showVerdict(found) {
  const [first, verdict, ...rest] = found.words;
  checkedPlace = `${found.lat.toFixed(7)},${found.lon.toFixed(7)}`;
  byId("check-on-map").disabled = byId("see-spots").disabled;
  byId("checked").replaceChildren(
    make(
      "div",
      { class: "answer" },
      make("p", { class: "facts" }, first),
      make("p", { class: "word" }, verdict.trim()),
      make("ul", {}, ...rest.map((line) => make("li", {}, line.trim().replace(/ {2,}/g, "; ")))),
      ...found.closing.map((line) => make("p", { class: "cautious" }, line)),
    ),
  );
}
