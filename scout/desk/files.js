// Bringing files, and what was understood of each.

import { announce, byId, make, formatCount, showError } from "./elements.js";
import { sendFiles, desk, removeFile, runJob } from "./requests.js";
import { dropLabel, getField, showFieldError, readSettings, showMissing } from "./settings.js";
import { leaveDoors, showGround, showParks } from "./maps.js";

const ROLES = ["parks", "access", "barriers", "hazards", "heights"];
let beforeReading = () => {};
let afterReading = () => {};
let preview = { files: {} };

export const hasParks = () => (desk.window.roles.parks ?? []).length > 0;

// A field for files and the zone around it, where they may be dropped as well.
export function takeFiles(input, take) {
  const zone = input.closest(".bring") ?? input.parentElement;
  input.addEventListener("change", async () => {
    const files = [...input.files];
    input.value = "";
    if (files.length) await take(files);
  });
  zone.addEventListener("dragover", () => zone.classList.add("over"));
  zone.addEventListener("dragleave", () => zone.classList.remove("over"));
  zone.addEventListener("drop", async (event) => {
    zone.classList.remove("over");
    if (event.dataTransfer.files.length) await take([...event.dataTransfer.files]);
  });
}

export const getFileField = (role) => document.querySelector(`input[type="file"][data-role="${role}"]`);

export function prepareFiles(first, then) {
  beforeReading = first;
  afterReading = then;
  for (const role of ROLES) takeFiles(getFileField(role), (files) => bringFiles(files, role));
  takeFiles(byId("door-files"), (files) => bringFiles(files, "parks"));
  // A file that is dropped beside a zone must not replace the page.
  for (const name of ["dragover", "drop"]) window.addEventListener(name, (event) => event.preventDefault());
}

async function bringFiles(files, role) {
  leaveDoors();
  byId("parks-said").textContent = `bringing ${formatCount(files.length, "file")} ...`;
  showError(`wrong-${role}`, await sendFiles(files, role));
  await previewFiles();
}

// Read everything again as the settings now say; what did not change is not read twice.
export async function previewFiles() {
  showMissing();
  byId("parks-said").textContent = "reading ...";
  await beforeReading();
  try {
    const found = await runJob("preview", { settings: readSettings() });
    if (found) showPreview(found);
    else showFiles();
  } catch (error) {
    showError("wrong-all-parks", error.message);
    showFiles();
  }
}

function showPreview(found) {
  preview = found;
  showError("wrong-all-parks");
  ["crs", "corridor", "pieces", "id-column", "name-column", "where", "profile", "same-ground", "layer"].forEach((key) => showFieldError(key));
  if (found.error) {
    const key = found.error.where;
    if (!key || !showFieldError(key, dropLabel(found.error.text))) showError("wrong-all-parks", found.error.text);
  }
  offerColumns(found.columns);
  offerValues(found.values ?? {});
  const layers = Object.values(found.files).flatMap((file) => file.layers ?? []);
  byId("layers").replaceChildren(
    ...layers.map((one) => make("option", { value: one.layer }, formatCount(one.records, "record"))),
  );
  showFiles();
  byId("notes-parks").replaceChildren(...(found.parks?.notes ?? []).map((note) => make("li", {}, note)));
  showParks(found.picture);
  showGround(found.ground);
  announce(byId("parks-said").textContent);
  afterReading();
}

function offerColumns(columns) {
  for (const key of ["id-column", "name-column"]) {
    const select = getField(key);
    const chosen = select.value;
    const names = chosen && !columns.includes(chosen) ? [...columns, chosen] : columns;
    select.replaceChildren(
      make("option", { value: "" }, "the column found"),
      ...names.map((name) => make("option", { value: name }, name)),
    );
    select.value = chosen;
  }
}

// Columns of few different values, to choose records by; what is ticked becomes the condition.
function offerValues(values) {
  const column = byId("values-column");
  const chosen = column.value;
  const names = Object.keys(values);
  byId("values-box").hidden = !names.length;
  column.replaceChildren(...names.map((name) => make("option", { value: name }, name)));
  if (names.includes(chosen)) column.value = chosen;
  const where = getField("where");
  const showValues = () => {
    const quoted = `"${column.value.replaceAll('"', '""')}"`;
    const text = (value) => `'${value.replaceAll("'", "''")}'`;
    const taken = where.value.startsWith(`${quoted} IN (`) ? where.value : "";
    const boxes = (values[column.value] ?? []).map(([value, count]) => {
      const box = make("input", { type: "checkbox", value });
      box.checked = taken.includes(text(value));
      return make("label", {}, box, make("span", {}, make("bdi", {}, value), ` (${count.toLocaleString("en")})`));
    });
    byId("values").replaceChildren(...boxes);
    byId("values").onchange = () => {
      const ticked = [...byId("values").querySelectorAll("input:checked")].map((box) => text(box.value));
      where.value = ticked.length ? `${quoted} IN (${ticked.join(", ")})` : "";
      where.dispatchEvent(new Event("input", { bubbles: true }));
      where.dispatchEvent(new Event("change", { bubbles: true }));
    };
  };
  column.onchange = showValues;
  showValues();
}

function showFiles() {
  const { roles, sizes } = desk.window;
  for (const role of ROLES) {
    byId(`files-${role}`).replaceChildren(...(roles[role] ?? []).map((name) => makeFileItem(name, sizes[name])));
  }
  byId("reading").hidden = !hasParks();
  const bad = Object.values(preview.files).filter((file) => file.error).length;
  const parks = preview.parks && hasParks() ? formatCount(preview.parks.count, "park") : "none yet";
  byId("parks-said").textContent = parks + (bad ? `, ${formatCount(bad, "problem")}` : "");
  const ground = ROLES.slice(1).reduce((sum, role) => sum + (roles[role] ?? []).length, 0);
  const without = preview.extract && hasParks() ? "of the extract" : "no walks without it";
  byId("ground-said").textContent = ground ? formatCount(ground, "file") : without;
}

// A file by its name, with a button that puts it away.
export function makeFileHead(name, after) {
  const away = async () => {
    await removeFile(name);
    await after();
  };
  const shown = name.replace(/^before\//, "");
  const button = make("button", { type: "button", click: away }, "Put away", make("span", { class: "unseen" }, ` ${shown}`));
  return make("div", { class: "file-head" }, make("bdi", { class: "file-name" }, shown), button);
}

function makeFileItem(name, size) {
  const file = preview.files[name] ?? {};
  const kind = size < 1e5 ? `${Math.max(1, Math.round(size / 1e3))} kB` : `${(size / 1e6).toFixed(1)} MB`;
  const rows = [makeFileHead(name, previewFiles)];
  for (const layer of file.layers ?? []) rows.push(...makeLayerFacts(layer, file, kind));
  if (file.counts && !file.error) rows.push(make("p", { class: "facts" }, file.counts));
  if (file.holds) rows.push(makeGroundFacts(file));
  for (const note of file.notes ?? []) rows.push(make("p", { class: "facts" }, note));
  if (file.error) rows.push(make("p", { class: "wrong" }, file.error));
  for (const [word, list] of [["Repaired", file.repaired], ["Refused", file.refused], ["Not used", file.skipped]]) {
    if (list?.count) rows.push(makeLines(word, list));
  }
  return make("li", {}, ...rows);
}

function makeLayerFacts(layer, file, kind) {
  const exact = layer.accuracy_m === 0 ? "exact" : `good to ${layer.accuracy_m} m`;
  const accuracy = layer.accuracy_m === null ? "accuracy not known" : exact;
  const layers = file.layers.length > 1 ? `${layer.layer}: ` : "";
  const facts = make("p", { class: "facts" }, layers, make("b", {}, formatCount(layer.records, "record")), `, ${kind}; ${layer.crs}, ${layer.operation === "none" ? "as it is" : `to WGS 84 ${accuracy}`}`);
  const found = [];
  if (!file.error) {
    const column = (one) => (one ? `column ${one}` : "the record number");
    found.push(make("p", { class: "facts" }, `id from ${column(layer.id)}, name from ${layer.name ? column(layer.name) : "no column"}`));
  }
  return [facts, ...found, ...layer.warnings.map((text) => make("p", { class: "wrong" }, text))];
}

function makeGroundFacts(file) {
  const words = Object.entries(file.holds).map(([word, count]) => `${word}: ${count.toLocaleString("en")}`);
  const crs = file.crs.length ? `; ${file.crs.join(", ")}` : "";
  return make("p", { class: "facts" }, make("b", {}, words.join(", ") || "nothing of use near the parks"), crs);
}

function makeLines(word, list) {
  const more = list.count - list.lines.length;
  return make(
    "details",
    {},
    make("summary", {}, `${word}: ${formatCount(list.count, "record")}`),
    make(
      "ul",
      { class: "lines" },
      ...list.lines.map((line) => make("li", {}, line)),
      more ? make("li", {}, `and ${more.toLocaleString("en")} more`) : null,
    ),
  );
}
