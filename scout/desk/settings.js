// What is wanted: the fields, as the settings of an outing file and back.

import { byId, debounce, make, showError } from "./elements.js";
import { desk, getOutputPath, readPlace, runJob } from "./requests.js";
import { drawStation } from "./station_drawing.js";
import { showHome } from "./maps.js";

const KEPT_SETTINGS = "scout desk settings";
const IMPERIAL = { m: ["ft", 0.3048], km: ["miles", 1.609344] }; // what a unit reads, and its size in that
let more = {}; // of a loaded outing file: credits, tags and the like, handed back as they came
const listeners = [];

export const onChange = (listener) => listeners.push(listener);
const getFields = () => [...document.querySelectorAll("#wanted [name], #reading [name]")];
const getTripFields = () => [...document.querySelectorAll("#trip-fields [name]")];
export const getField = (key) =>
  document.querySelector(`#wanted [name="${key}"], #reading [name="${key}"], #trip-fields [name="${key}"]`);
const isNumeric = (field) => field.hasAttribute("inputmode") || "number" in field.dataset;
const getDefault = (key) => (desk.fields[key]?.default ?? null);

// The settings: what stands as it is by itself is left out.
export const readSettings = () => readFields(getFields());

// What stands in the fields of a form that has its own, usual or not.
export const readFieldsOf = (id) => readOptions([...byId(id).querySelectorAll("[name]")], () => false);

// With those of a day with several places, which a search has no need of.
export const readAllSettings = () => readFields([...getFields(), ...getTripFields()]);

const readValue = (field, text) => (isNumeric(field) && Number.isFinite(Number(text)) ? Number(text) : text);

function readFields(fields) {
  const options = readOptions(fields, (name, text) => text === String(getDefault(name)));
  return { options, more: { ...more, author: getMore("author").value.trim(), show: splitList(getMore("show").value) } };
}

function readOptions(fields, isUsual) {
  const options = {};
  for (const field of fields) {
    if (field.type === "checkbox") {
      if (field.checked) options[field.name] = true;
      continue;
    }
    const text = readMetric(field);
    if (!text || isUsual(field.name, text)) continue;
    if ("many" in field.dataset) options[field.name] = splitList(text).map((one) => readValue(field, one));
    else options[field.name] = readValue(field, text);
  }
  return options;
}

const getMore = (key) => document.querySelector(`#wanted [data-more="${key}"]`);
const splitList = (text) => text.split(";").map((one) => one.trim()).filter(Boolean);

// Settings are in metres and kilometres; a field shows feet and miles where these are wanted, and keeps what
// they stand for.
const isImperial = () => getField("units").value === "imperial";
const isLength = (field) => "length" in field.dataset;
const readMetric = (field) => (isLength(field) ? (field.dataset.metric ?? "") : field.value.trim());

function noteMetric(field) {
  const text = field.value.trim();
  const number = Number(text);
  const turned = text && isImperial() && Number.isFinite(number);
  field.dataset.metric = turned ? String(Number((number * IMPERIAL[field.dataset.length][1]).toPrecision(6))) : text;
}

function writeMetric(field, metric) {
  const number = Number(metric);
  const turned = isLength(field) && metric && isImperial() && Number.isFinite(number);
  field.value = turned ? String(Number((number / IMPERIAL[field.dataset.length][1]).toPrecision(3))) : metric;
  if (isLength(field)) field.dataset.metric = metric;
}

function followUnits() {
  for (const field of document.querySelectorAll("[data-length]")) writeMetric(field, readMetric(field));
  for (const place of document.querySelectorAll("[data-unit]")) {
    place.textContent = isImperial() ? IMPERIAL[place.dataset.unit][0] : place.dataset.unit;
  }
}

function fillFields(found) {
  more = found.more ?? {};
  getMore("author").value = more.author ?? "";
  getMore("show").value = (more.show ?? []).join("; ");
  getField("units").value = found.options.units ?? getDefault("units");
  for (const field of [...getFields(), ...getTripFields()]) {
    const value = found.options[field.name];
    if (field.type === "checkbox") field.checked = Boolean(value);
    else if (field.tagName === "SELECT" && value && ![...field.options].some((one) => one.value === String(value))) {
      field.append(make("option", {}, String(value)));
      field.value = value;
    } else if (Array.isArray(value)) field.value = value.join("; ");
    else writeMetric(field, String(value ?? getDefault(field.name) ?? ""));
    showFieldError(field.name);
  }
  followUnits();
  followFields();
}

// What is wrong with a setting, beside its field; whether there is such a field.
export function showFieldError(key, text = "") {
  const field = getField(key);
  if (!field) return false;
  const id = `wrong-${key}`;
  if (!byId(id)) {
    const place = make("span", { class: "wrong", id });
    field.after(place);
  }
  showError(id, text, field);
  if (text) field.closest("details")?.setAttribute("open", "");
  return true;
}

export function showSettingError(error, otherwise) {
  const key = error.where ?? "";
  const field = key ? getField(key) : null;
  if (!field) {
    showError(otherwise, error.message);
    return;
  }
  showFieldError(key, dropLabel(error.message));
  field.focus();
  field.scrollIntoView({ block: "center" });
}

// Beside its field a setting need not be named.
export const dropLabel = (text) => text.replace(/^\u201c[^\u201d]*\u201d: /, "");

export const clearFieldErrors = () => [...getFields(), ...getTripFields()].forEach((field) => showFieldError(field.name));

const readNumber = (key) => Number(readMetric(getField(key)) || getDefault(key));

function followFields() {
  drawStation(readNumber("station-radius"), readNumber("fix-error"), readNumber("boundary-error"), isImperial());
  const level = getField("level").value;
  const within = getField("within").value.trim();
  byId("wanted-said").textContent = `${level} lattice${within ? `, within ${within} ${isImperial() ? "miles" : "km"}` : ""}`;
  try {
    sessionStorage.setItem(KEPT_SETTINGS, JSON.stringify(readAllSettings()));
  } catch {
    // Full, or refused: the settings are then not there after a reload.
  }
}

const followHome = debounce(250, async () => {
  const text = getField("home").value.trim();
  const said = byId("home-said");
  const within = Number(readMetric(getField("within"))) || 0;
  showFieldError("home");
  if (!text) {
    said.textContent = "Latitude first. Decimal degrees, degrees and minutes, a locator, UTM, MGRS or a geo: link.";
    showHome(null, 0);
    return;
  }
  try {
    const place = await readPlace(text);
    said.textContent = `Understood as ${place.words}.`;
    showHome([place.lat, place.lon], within);
  } catch (error) {
    showFieldError("home", error.message);
    showHome(null, 0);
  }
});

const reportChange = debounce(500, () => listeners.forEach((listener) => listener()));

export function prepareSettings() {
  for (const field of [...getFields(), ...getTripFields()]) {
    const words = desk.fields[field.name]?.help;
    if (words) field.title = words;
    if (field.type !== "checkbox" && !field.value) writeMetric(field, String(getDefault(field.name) ?? ""));
  }
  for (const field of getFields()) {
    if (field.name === "level") field.value = getDefault("level");
    field.addEventListener("input", () => {
      showFieldError(field.name);
      if (isLength(field)) noteMetric(field);
      if (field.name === "units") followUnits();
      followFields();
      if (field.name === "home" || field.name === "within") followHome();
      reportChange(field.name);
    });
  }
  for (const field of document.querySelectorAll("#view-form [data-length]")) {
    field.addEventListener("input", () => noteMetric(field));
  }
  for (const key of ["author", "show"]) getMore(key).addEventListener("input", () => reportChange(key));
  byId("wanted").addEventListener("submit", (event) => event.preventDefault());
  byId("save-outing").addEventListener("click", saveOuting);
  byId("load-outing").addEventListener("change", (event) => loadOuting(event, "wrong-outing"));
  byId("door-settings").addEventListener("change", (event) => loadOuting(event, "wrong-doors"));
  const kept = sessionStorage.getItem(KEPT_SETTINGS);
  if (kept) fillFields(JSON.parse(kept));
  followFields();
  followHome();
}

export function setHome(text) {
  const field = getField("home");
  field.value = text;
  field.dispatchEvent(new Event("input", { bubbles: true }));
}

async function saveOuting() {
  showError("wrong-outing");
  try {
    const { made: name } = await runJob("outing", { settings: readAllSettings() });
    const link = make("a", { href: `${getOutputPath(name)}?save`, download: "" });
    link.click();
  } catch (error) {
    showError("wrong-outing", error.message);
  }
}

let afterLoad = () => {};
export const onLoad = (then) => {
  afterLoad = then;
};

async function loadOuting(event, wrong) {
  const [file] = event.target.files;
  event.target.value = "";
  showError(wrong);
  if (!file) return;
  try {
    await takeSettings(await runJob("load", { text: await file.text() }));
  } catch (error) {
    showError(wrong, `${file.name}: ${error.message}`);
  }
}

export async function takeSettings(found) {
  if (!found) return;
  fillFields(found);
  followHome();
  showMissing();
  await afterLoad();
}

export function showMissing() {
  const { missing } = desk.window;
  const place = byId("outing-missing");
  place.hidden = !missing.length;
  place.textContent = `The settings name files that are not here yet: ${missing.join(", ")}. Bring them, and they take their places.`;
}
