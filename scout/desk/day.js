// A card, a pack, a site and files of the spots that were found.

import { byId, make, putLink, showError } from "./elements.js";
import { getFindings } from "./search.js";
import { getOutputPath, runJob } from "./requests.js";
import { readSettings } from "./settings.js";
import { openOnMap } from "./maps.js";
import { offerCheckOnMap, openCheckOf } from "./places.js";
import { startVisit } from "./visits.js";

const FORMATS = [[".gpx", "GPX"], [".kml", "KML"], [".kmz", "KMZ"], [".csv", "Table (CSV)"], [".geojson", "GeoJSON"], [".gpkg", "GeoPackage"]];
let foundSpots = [];

const getDayField = (form, name) => byId(form).elements.namedItem(name);
export const formatSpotPlace = (spot) => `${spot.lat.toFixed(6)}, ${spot.lon.toFixed(6)}`;

export function prepareDay() {
  byId("day").addEventListener("submit", (event) => event.preventDefault());
  getDayField("day", "spot").addEventListener("input", () => {
    const spot = getChosenSpot();
    describeSpot(spot);
    if (spot) openOnMap(`#spot=${spot.rank}`);
  });
  byId("card").addEventListener("click", () => makeOutput("card", (given) => `Card of spot ${given.spot}`));
  byId("pack").addEventListener("click", () => makeOutput("pack", (given) => `Pack of ${given.spots}`));
  byId("site").addEventListener("click", () => makeOutput("site", (given) => `Site of ${given.spots}`, "got-saved"));
  byId("check-spot").addEventListener("click", () => {
    const spot = getChosenSpot();
    if (!spot) return showError("wrong-day", "Choose a spot first.");
    return openCheckOf(formatSpotPlace(spot));
  });
  byId("visit-spot").addEventListener("click", () => {
    const spot = getChosenSpot();
    if (!spot) showError("wrong-day", "Choose a spot first.");
    else startVisit({ place: formatSpotPlace(spot), call: getDayField("day", "call").value, day: getDayField("day", "date").value });
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
  offerCheckOnMap();
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
    `: ${spot.kind.replace("-", " ")}, ${where}; ${spot.locators.join(" ")} at ${formatSpotPlace(spot)}`,
    ...spot.warnings.map((text) => make("span", { class: "wrong" }, ` Warning: ${text}`)),
  );
}

async function makeOutput(job, label, place = "got-day") {
  showError("wrong-day");
  const given = Object.fromEntries(new FormData(byId("day")));
  given.spots = given.spots.trim() || given.spot;
  if (!given.spot && job === "card") return showError("wrong-day", "Choose a spot first.");
  if (!given.spots && job !== "card") return showError("wrong-day", "Say which spots, such as 1 3 5-7.");
  if (!Number.isInteger(Number(given.spot))) return showError("wrong-day", "The number of a spot is a whole number.");
  try {
    const { made: name } = await runJob(job, { ...given, list: getFindings().made, settings: readSettings() });
    putLink(place, label(given), getOutputPath(name));
  } catch (error) {
    showError("wrong-day", error.message);
  }
  return undefined;
}

async function saveSpots(suffix, words) {
  showError("wrong-day");
  try {
    const best = getDayField("day", "best").value.trim();
    const { made: name } = await runJob("save", { suffix, best, list: getFindings().made });
    putLink("got-saved", `${best ? `The best ${best} spots` : "All spots"}, ${words}`, getOutputPath(name));
  } catch (error) {
    showError("wrong-day", error.message);
  }
}
