// Where the reader is: the address says which spot is open (#spot=3) or which place is checked
// (#check=45.1,-89.2), so that going back and reloading work; everything else follows it.

export let cameFrom = null;
let follower = () => {};

export function getRankInAddress() {
  const found = /^#spot=(\d+)$/.exec(window.location.hash);
  return found ? Number(found[1]) : null;
}

// What is asked: "" for the open panel, a text that names a place, or null for no check.
export function getCheckInAddress() {
  const found = /^#check(?:=(.*))?$/.exec(window.location.hash);
  if (!found) return null;
  try {
    return decodeURIComponent(found[1] ?? "");
  } catch {
    return found[1];
  }
}

// Who brings the page in line with the address.
export function setFollower(listener) {
  follower = listener;
}

export function follow() {
  follower();
}

export function openSpot(rank) {
  cameFrom = document.activeElement;
  // Not location.hash: that would scroll the list to the row at once.
  if (getRankInAddress() !== rank) window.history.pushState(null, "", `#spot=${rank}`);
  follow();
}

export function openCheck(text = "") {
  const before = getCheckInAddress() !== null;
  if (!before) cameFrom = document.activeElement;
  // From place to place the address is only replaced: one step back leaves the check.
  const step = before ? "replaceState" : "pushState";
  window.history[step](null, "", text ? `#check=${encodeURIComponent(text)}` : "#check");
  follow();
}

// Back to the list alone.
export function leave() {
  const back = cameFrom;
  window.history.pushState(null, "", window.location.pathname + window.location.search);
  follow();
  if (back && back.isConnected && back !== document.body) back.focus({ preventScroll: true });
}
