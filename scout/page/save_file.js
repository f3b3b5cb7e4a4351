// What the page hands on: files to save, a text to share or copy.

import { makeElement } from "./elements.js";

export function saveFile(name, text, type) {
  const link = makeElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type }));
  link.download = name;
  link.click();
  window.setTimeout(() => URL.revokeObjectURL(link.href), 10000);
}

// Whether it was copied: a page may be refused, and an old browser has no way.
export async function copyText(text) {
  try {
    await navigator.clipboard.writeText(text);
    return true;
  } catch {
    return false;
  }
}
