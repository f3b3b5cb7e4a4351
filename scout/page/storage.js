// What this browser keeps for this map: filters, view, shortlist. All of it can be missing or refused.

import { findings } from "./findings.js";

// In the desk the page stands in a sandbox without storage: there it keeps things in its frame's name, which
// outlives it, and the desk is told.
export const framed = window.parent !== window;

function readFrameName() {
  try {
    return JSON.parse(window.name) ?? {};
  } catch {
    return {};
  }
}

function keepInFrame(key, text) {
  if (!framed) return false;
  window.name = JSON.stringify({ ...readFrameName(), [key]: text });
  window.parent.postMessage({ kept: window.name }, "*");
  return true;
}

function readStored(key) {
  try {
    return window.localStorage.getItem(key);
  } catch {
    return framed ? readFrameName()[key] ?? null : null;
  }
}

// Hand what is kept under a name to whom it concerns. What is damaged is as good as missing.
export function recall(name, use) {
  try {
    const kept = JSON.parse(readStored(`scout ${findings.key} ${name}`));
    if (kept !== null) use(kept);
  } catch {
    // Refused by the browser, or written by something else.
  }
}

// Whether it was kept.
export function keep(name, value) {
  const [key, text] = [`scout ${findings.key} ${name}`, JSON.stringify(value)];
  try {
    window.localStorage.setItem(key, text);
    return true;
  } catch {
    return keepInFrame(key, text);
  }
}
