// What is wanted: the fields, as the settings of an outing file and back.

import { byId, later, make, wrong } from "./pieces.js";
import { desk, made, understoodPlace, work } from "./talk.js";
import { draw } from "./drawing.js";
import { showHome } from "./stage.js";

const KEPT = "scout desk settings";
let more = {}; // of a loaded outing file: credits, tags and the like, handed back as they came
const listeners = [];

export const onChange = (listener) => listeners.push(listener);
const fields = () => [...document.querySelectorAll("#wish [name], #reading [name]")];
export const fieldOf = (key) => document.querySelector(`#wish [name="${key}"], #reading [name="${key}"]`);
const numeric = (field) => field.hasAttribute("inputmode") || "number" in field.dataset;
const standard = (key) => (desk.fields[key]?.default ?? null);

// The settings: what stands as it is by itself is left out.
export function settings() {
  const options = {};
  for (const field of fields()) {
    if (field.type === "checkbox") {
      if (field.checked) options[field.name] = true;
      continue;
    }
    const text = field.value.trim();
    if (!text || text === String(standard(field.name))) continue;
    const number = Number(text);
    options[field.name] = numeric(field) && Number.isFinite(number) ? number : text;
  }
  return { options, more };
}

export function fill(found) {
  more = found.more ?? {};
  for (const field of fields()) {
    const value = found.options[field.name];
    if (field.type === "checkbox") field.checked = Boolean(value);
    else if (field.tagName === "SELECT" && value && ![...field.options].some((one) => one.value === String(value))) {
      field.append(make("option", {}, String(value)));
      field.value = value;
    } else field.value = value ?? standard(field.name) ?? "";
    say(field.name);
  }
  const kept = ["park"].filter((key) => key in found.options);
  if (kept.length) more = { ...more, kept: { ...more.kept, park: found.options.park } };
  follow();
}

// What is wrong with a setting, beside its field; whether there is such a field.
export function say(key, text = "") {
  const field = fieldOf(key);
  if (!field) return false;
  const id = `wrong-${key}`;
  if (!byId(id)) {
    const place = make("span", { class: "wrong", id });
    field.after(place);
  }
  wrong(id, text, field);
  if (text) field.closest("details")?.setAttribute("open", "");
  return true;
}

export function sayWrong(error, otherwise) {
  const key = (error.where ?? "").replace(/^.*: /, "").replace(/^--/, "").split(" ")[0];
  const field = fieldOf(key);
  if (!field) {
    wrong(otherwise, error.message);
    return;
  }
  // Beside its field it need not be named.
  say(key, error.message.replace(new RegExp(`^(--)?${key}: `), ""));
  field.focus();
  field.scrollIntoView({ block: "center" });
}

export const unsay = () => fields().forEach((field) => say(field.name));

const number = (key) => Number(fieldOf(key).value || standard(key));

function follow() {
  draw(number("station-radius"), number("fix-error"), number("boundary-error"));
  const level = fieldOf("level").value;
  const within = fieldOf("within").value.trim();
  byId("wish-said").textContent = `${level} lattice${within ? `, within ${within} km` : ""}`;
  try {
    sessionStorage.setItem(KEPT, JSON.stringify(settings()));
  } catch {
    // Full, or refused: the settings are then not there after a reload.
  }
}

const followHome = later(250, async () => {
  const text = fieldOf("home").value.trim();
  const said = byId("home-said");
  const within = Number(fieldOf("within").value) || 0;
  say("home");
  if (!text) {
    said.textContent = "Latitude first. Decimal degrees, degrees and minutes, a locator, UTM, MGRS or a geo: link.";
    showHome(null, 0);
    return;
  }
  try {
    const place = await understoodPlace(text);
    said.textContent = `Understood as ${place.words}.`;
    showHome([place.lat, place.lon], within);
  } catch (error) {
    say("home", error.message);
    showHome(null, 0);
  }
});

const tell = later(500, () => listeners.forEach((listener) => listener()));

export function prepareWish() {
  for (const field of fields()) {
    const words = desk.fields[field.name]?.help;
    if (words) field.title = words;
    if (field.type !== "checkbox" && !field.value) field.value = standard(field.name) ?? "";
    if (field.name === "level") field.value = standard("level");
    field.addEventListener("input", () => {
      say(field.name);
      follow();
      if (field.name === "home" || field.name === "within") followHome();
      tell(field.name);
    });
  }
  byId("wish").addEventListener("submit", (event) => event.preventDefault());
  byId("save-outing").addEventListener("click", save);
  byId("load-outing").addEventListener("change", async (event) => {
    const [file] = event.target.files;
    event.target.value = "";
    if (file) await load(file);
  });
  const kept = sessionStorage.getItem(KEPT);
  if (kept) fill(JSON.parse(kept));
  follow();
  followHome();
}

export function setHome(text) {
  const field = fieldOf("home");
  field.value = text;
  field.dispatchEvent(new Event("input", { bubbles: true }));
}

async function save() {
  wrong("wrong-outing");
  try {
    const { made: name } = await work("outing", { settings: settings() });
    const link = make("a", { href: `${made(name)}?save`, download: "" });
    link.click();
  } catch (error) {
    wrong("wrong-outing", error.message);
  }
}

let afterLoad = () => {};
export const onLoad = (then) => {
  afterLoad = then;
};

async function load(file) {
  wrong("wrong-outing");
  try {
    take(await work("load", { text: await file.text() }));
  } catch (error) {
    wrong("wrong-outing", `${file.name}: ${error.message}`);
  }
}

export async function take(found) {
  if (!found) return;
  fill(found);
  followHome();
  tellMissing();
  await afterLoad();
}

export function tellMissing() {
  const { missing } = desk.window;
  const place = byId("outing-missing");
  place.hidden = !missing.length;
  place.textContent = `The settings name files that are not here yet: ${missing.join(", ")}. Bring them, and they take their places.`;
}
