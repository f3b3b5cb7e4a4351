// What is wanted: the fields, as the settings of an outing file and back.

import { byId, debounce, make, showError } from "./elements.js";
import { desk, getOutputPath, readPlace, runJob } from "./requests.js";
import { drawStation } from "./station_drawing.js";
import { showHome } from "./maps.js";

const KEPT_SETTINGS = "scout desk settings";
let more = {}; // of a loaded outing file: credits, tags and the like, handed back as they came
const listeners = [];

export const onChange = (listener) => listeners.push(listener);
const getFields = () => [...document.querySelectorAll("#wanted [name], #reading [name]")];
export const getField = (key) => document.querySelector(`#wanted [name="${key}"], #reading [name="${key}"]`);
const isNumeric = (field) => field.hasAttribute("inputmode") || "number" in field.dataset;
const getDefault = (key) => (desk.fields[key]?.default ?? null);

const splitValues = (text) => text.split(";").map((one) => one.trim()).filter(Boolean);

// The settings: what stands as it is by itself is left out.
export function readSettings() {
  const options = {};
  for (const field of getFields()) {
    if (field.type === "checkbox") {
      if (field.checked) options[field.name] = true;
      continue;
    }
    const text = field.value.trim();
    if (!text || text === String(getDefault(field.name))) continue;
    if ("many" in field.dataset) {
      options[field.name] = splitValues(text);
      continue;
    }
    const number = Number(text);
    options[field.name] = isNumeric(field) && Number.isFinite(number) ? number : text;
  }
  return { options, more };
}

function fillFields(found) {
  more = found.more ?? {};
  for (const field of getFields()) {
    const value = found.options[field.name];
    if (field.type === "checkbox") field.checked = Boolean(value);
    else if (field.tagName === "SELECT" && value && ![...field.options].some((one) => one.value === String(value))) {
      field.append(make("option", {}, String(value)));
      field.value = value;
    } else field.value = (Array.isArray(value) ? value.join("; ") : value) ?? getDefault(field.name) ?? "";
    showFieldError(field.name);
  }
  const kept = ["park"].filter((key) => key in found.options);
  if (kept.length) more = { ...more, kept: { ...more.kept, park: found.options.park } };
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
  const key = (error.where ?? "").replace(/^.*: /, "").replace(/^--/, "").split(" ")[0];
  const field = getField(key);
  if (!field) {
    showError(otherwise, error.message);
    return;
  }
  // Beside its field it need not be named.
  showFieldError(key, error.message.replace(new RegExp(`^(--)?${key}: `), ""));
  field.focus();
  field.scrollIntoView({ block: "center" });
}

export const clearFieldErrors = () => getFields().forEach((field) => showFieldError(field.name));

const readNumber = (key) => Number(getField(key).value || getDefault(key));

function followFields() {
  drawStation(readNumber("station-radius"), readNumber("fix-error"), readNumber("boundary-error"));
  const level = getField("level").value;
  const within = getField("within").value.trim();
  byId("wanted-said").textContent = `${level} lattice${within ? `, within ${within} km` : ""}`;
  try {
    sessionStorage.setItem(KEPT_SETTINGS, JSON.stringify(readSettings()));
  } catch {
    // Full, or refused: the settings are then not there after a reload.
  }
}

const followHome = debounce(250, async () => {
  const text = getField("home").value.trim();
  const said = byId("home-said");
  const within = Number(getField("within").value) || 0;
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
  for (const field of getFields()) {
    const words = desk.fields[field.name]?.help;
    if (words) field.title = words;
    if (field.type !== "checkbox" && !field.value) field.value = getDefault(field.name) ?? "";
    if (field.name === "level") field.value = getDefault("level");
    field.addEventListener("input", () => {
      showFieldError(field.name);
      followFields();
      if (field.name === "home" || field.name === "within") followHome();
      reportChange(field.name);
    });
  }
  byId("wanted").addEventListener("submit", (event) => event.preventDefault());
  byId("save-outing").addEventListener("click", saveOuting);
  byId("load-outing").addEventListener("change", async (event) => {
    const [file] = event.target.files;
    event.target.value = "";
    if (file) await loadOuting(file);
  });
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
    const { made: name } = await runJob("outing", { settings: readSettings() });
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

async function loadOuting(file) {
  showError("wrong-outing");
  try {
    takeSettings(await runJob("load", { text: await file.text() }));
  } catch (error) {
    showError("wrong-outing", `${file.name}: ${error.message}`);
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
