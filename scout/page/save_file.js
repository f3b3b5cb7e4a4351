// Files that the page hands on.

import { makeElement } from "./elements.js";

export function saveFile(name, text, type) {
  const link = makeElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type }));
  link.download = name;
  link.click();
  window.setTimeout(() => URL.revokeObjectURL(link.href), 10000);
}
