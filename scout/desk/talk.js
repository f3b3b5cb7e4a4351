// Asking the desk. The key comes in the address once and then stays with this tab.

export const desk = { key: "", id: "", window: null, fields: {} };

const KEY = "scout desk key";
const WINDOW = "scout desk window";

export class Refused extends Error {
  constructor(error) {
    super(error.text);
    this.where = error.where;
  }
}

async function ask(method, path, body, more = {}) {
  let answer;
  try {
    answer = await fetch(path, {
      method,
      body,
      headers: desk.key ? { "X-Desk-Key": desk.key } : {},
      credentials: "omit",
      ...more,
    });
  } catch {
    throw new Refused({ where: "", text: "The desk does not answer: it was stopped. Start it again." });
  }
  let found;
  try {
    found = await answer.json();
  } catch {
    found = { error: { where: "", text: "This should not have happened, and is a fault of scout." } };
  }
  if (found.error) throw new Refused(found.error);
  return found;
}

const post = (path, given = {}) => ask("POST", path, JSON.stringify(given));
const here = (rest = "") => `/api/windows/${desk.id}${rest}`;

// Exchange the key of the address, or take up again what this tab had.
export async function enter() {
  const [brought, kept] = [window.location.hash.slice(1), sessionStorage.getItem(KEY)];
  if (!brought && !kept) throw new Refused({ where: "", text: "Open the desk by the address that scout desk shows: it holds the key." });
  let found;
  try {
    found = await post("/api/enter", { key: brought || kept });
  } catch (error) {
    if (!brought || !kept) throw error;
    found = await post("/api/enter", { key: kept }); // the address was used, perhaps by this very tab
  }
  sessionStorage.setItem(KEY, found.key);
  window.history.replaceState(null, "", "/");
  Object.assign(desk, { key: found.key, fields: found.fields });
  await takeWindow();
  return found;
}

// A tab that was loaded again finds its files; one that was copied gets a window of its own.
async function takeWindow() {
  const old = sessionStorage.getItem(WINDOW);
  if (old && (await held(old))) {
    desk.id = old;
    const found = await ask("GET", `${here()}?again`);
    if (!found.gone) {
      desk.window = found;
      return;
    }
  }
  const made = await post("/api/windows");
  desk.id = made.id;
  desk.window = made;
  sessionStorage.setItem(WINDOW, made.id);
  await held(made.id);
}

// A lock goes with its tab, but only when the tab has gone.
async function held(id) {
  for (let trial = 0; trial < 5; trial += 1) {
    const got = await new Promise((resolve) => {
      navigator.locks.request(`scout desk ${id}`, { ifAvailable: true }, (lock) => {
        resolve(Boolean(lock));
        return lock ? new Promise(() => {}) : undefined;
      });
    });
    if (got) return true;
    await new Promise((resolve) => setTimeout(resolve, 100));
  }
  return false;
}

const PATIENCE_MS = 500;
let asked = 0; // jobs that are waited for, the search apart: that tells of itself
let tellWaiting = () => {};
export const onWaiting = (tell) => {
  tellWaiting = tell;
};

// A job of this window; what it gives. One comes after the other, so it may have to wait.
export async function work(job, given = {}) {
  const quiet = job === "search";
  if (!quiet) {
    asked += 1;
    setTimeout(() => tellWaiting(asked > 0), PATIENCE_MS);
  }
  try {
    const found = await post(here("/do"), { job, given });
    desk.window = found.window;
    return found.stopped ? null : found.done;
  } finally {
    if (!quiet) {
      asked -= 1;
      tellWaiting(asked > 0);
    }
  }
}

export const made = (name) => `/made/${desk.window.door}/${encodeURIComponent(name)}`;
export const understoodPlace = (text) => post("/api/place", { text });
export const progress = (seen) => ask("GET", here(`/progress${seen ? "?seen" : ""}`));
export const cancel = (all = false) => post(here("/stop"), { all });
export const stopDesk = () => post("/api/stop");
export const stillHere = () => ask("GET", here());

const fileAt = (name, role) => here(`/file?${new URLSearchParams({ name, role })}`);

export async function bring(file, role) {
  await post(`${fileAt(file.name, role)}&size=${file.size}`); // refused while it is sent, one may not hear why
  desk.window = await ask("PUT", fileAt(file.name, role), file);
}

export async function putAway(name) {
  desk.window = await ask("DELETE", fileAt(name, "parks"));
}

// The tab goes: its files may go soon, unless it comes back.
export function left() {
  fetch(here("/left"), { method: "POST", headers: { "X-Desk-Key": desk.key }, keepalive: true, credentials: "omit" });
}
