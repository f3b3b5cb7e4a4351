// Asking the desk. The key comes in the address once and then stays with this tab.

export const desk = { key: "", id: "", window: null, fields: {} };

const KEY = "scout desk key";
const WINDOW = "scout desk window";

class Refused extends Error {
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

let stamped = 0;
// When something was asked for: a request to stop may overtake it, and must not stop what comes after.
function stamp() {
  stamped = Math.max(stamped + 1, Date.now());
  return stamped;
}

const post = (path, given = {}) => ask("POST", path, JSON.stringify(given));
const getWindowPath = (rest = "") => `/api/windows/${desk.id}${rest}`;

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
  Object.assign(desk, { key: found.key, fields: found.fields, home: found.home });
  await takeWindow();
  return found;
}

// A tab that was loaded again finds its files; one that was copied gets a window of its own.
async function takeWindow() {
  const old = sessionStorage.getItem(WINDOW);
  if (old && (await isHeld(old))) {
    desk.id = old;
    const found = await ask("GET", `${getWindowPath()}?again`);
    if (!found.gone) {
      desk.window = found;
      return;
    }
  }
  const made = await post("/api/windows");
  desk.id = made.id;
  desk.window = made;
  sessionStorage.setItem(WINDOW, made.id);
  await isHeld(made.id);
}

// A lock goes with its tab, but only when the tab has gone.
async function isHeld(id) {
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

const QUIET_MS = 500;
let asked = 0; // jobs that are waited for, the search apart: that tells of itself
let reportWaiting = () => {};
export const onWaiting = (tell) => {
  reportWaiting = tell;
};

// A job of this window; what it gives. One comes after the other, so it may have to wait.
export async function runJob(job, given = {}) {
  const quiet = job === "search";
  if (!quiet) {
    asked += 1;
    setTimeout(() => reportWaiting(asked > 0), QUIET_MS);
  }
  try {
    const found = await post(getWindowPath("/do"), { job, given, at: stamp() });
    desk.window = found.window;
    return found.stopped ? null : found.done;
  } finally {
    if (!quiet) {
      asked -= 1;
      reportWaiting(asked > 0);
    }
  }
}

export const getOutputPath = (name) => `/made/${desk.window.door}/${encodeURIComponent(name)}`;
export const readPlace = (text) => post("/api/place", { text });
export const readProgress = (seen) => ask("GET", getWindowPath(`/progress${seen ? "?seen" : ""}`));
export const cancelJobs = (all = false) => post(getWindowPath("/stop"), { all, at: stamp() });
export const stopDesk = () => post("/api/stop");
export const keepAlive = () => ask("GET", getWindowPath());

const getFilePath = (name, role) => getWindowPath(`/file?${new URLSearchParams({ name, role })}`);

export async function sendFile(file, role) {
  await post(`${getFilePath(file.name, role)}&size=${file.size}`); // refused while it is sent, one may not hear why
  desk.window = await ask("PUT", getFilePath(file.name, role), file);
}

export async function removeFile(name) {
  desk.window = await ask("DELETE", getFilePath(name, "parks"));
}

// Bring files one after the other; what is wrong with those that cannot be used.
export async function sendFiles(files, role) {
  const problems = [];
  for (const file of files) {
    try {
      await sendFile(file, role);
    } catch (error) {
      problems.push(error.message);
    }
  }
  return problems.join(" ");
}

// The tab goes: its files may go soon, unless it comes back.
export function leave() {
  fetch(getWindowPath("/left"), { method: "POST", headers: { "X-Desk-Key": desk.key }, keepalive: true, credentials: "omit" });
}
