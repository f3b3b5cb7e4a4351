// What this browser keeps for this map: filters, view, shortlist. All of it can be missing or refused.

// Hand what is kept under a name to whom it concerns. What is damaged is as good as missing.
function recall(name, use) {
  try {
    const kept = JSON.parse(window.localStorage.getItem(`scout ${findings.key} ${name}`));
    if (kept !== null) use(kept);
  } catch {
    // Refused by the browser, or written by something else.
  }
}

// Whether it was kept.
function keep(name, value) {
  try {
    window.localStorage.setItem(`scout ${findings.key} ${name}`, JSON.stringify(value));
    return true;
  } catch {
    return false;
  }
}
