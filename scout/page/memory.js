// What this browser keeps for this map: filters, view, shortlist. All of it can be missing or refused.

// In the desk the page stands in a sandbox without storage: there it keeps things in its frame's name, which
// outlives it, and the desk is told.
const framed = window.parent !== window;

function named() {
  try {
    return JSON.parse(window.name) ?? {};
  } catch {
    return {};
  }
}

function keepInFrame(key, text) {
  if (!framed) return false;
  window.name = JSON.stringify({ ...named(), [key]: text });
  window.parent.postMessage({ kept: window.name }, "*");
  return true;
}

function stored(key) {
  try {
    return window.localStorage.getItem(key);
  } catch {
    return framed ? named()[key] ?? null : null;
  }
}

// Hand what is kept under a name to whom it concerns. What is damaged is as good as missing.
function recall(name, use) {
  try {
    const kept = JSON.parse(stored(`scout ${findings.key} ${name}`));
    if (kept !== null) use(kept);
  } catch {
    // Refused by the browser, or written by something else.
  }
}

// Whether it was kept.
function keep(name, value) {
  const [key, text] = [`scout ${findings.key} ${name}`, JSON.stringify(value)];
  try {
    window.localStorage.setItem(key, text);
    return true;
  } catch {
    return keepInFrame(key, text);
  }
}
