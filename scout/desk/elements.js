// Small pieces of a page: elements from values, always as text, and what is wrong beside what caused it.

export const byId = (id) => document.getElementById(id);

export function make(tag, values = {}, ...inside) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(values)) {
    if (name === "click") made.addEventListener("click", value);
    else if (name === "class") made.className = value;
    else if (value !== null && value !== undefined) made.setAttribute(name, value);
  }
  made.append(...inside.filter((one) => one !== null && one !== undefined));
  return made;
}

export const formatCount = (count, word) => `${count.toLocaleString("en")} ${word}${count === 1 ? "" : "s"}`;

// Say, or with an empty text unsay, what is wrong. With a field the text is tied to it.
export function showError(id, text = "", field = null) {
  const place = byId(id);
  place.textContent = text;
  place.setAttribute("role", "alert");
  if (field) {
    field.setAttribute("aria-invalid", text ? "true" : "false");
    field.setAttribute("aria-describedby", id);
  }
}

export const announce = (text) => {
  byId("announce").textContent = text;
};

// What was made: a name, a link to look at it where a browser can, a link to keep it.
function makeLinkItem(label, url) {
  const links = [make("a", { href: `${url}?save`, download: "" }, "Save", make("span", { class: "unseen" }, ` ${label}`))];
  if (url.endsWith(".html")) {
    const more = make("span", { class: "unseen" }, ` ${label} in a new tab`);
    links.unshift(make("a", { href: url, target: "_blank", rel: "noopener" }, "Open", more));
  }
  return make("li", {}, make("b", {}, label), ...links);
}

// The latest of a name stands first, once.
export function putLink(id, label, url) {
  const list = byId(id);
  [...list.children].filter((item) => item.firstChild.textContent === label).forEach((item) => item.remove());
  list.prepend(makeLinkItem(label, url));
}

export function debounce(wait, work) {
  let timer = 0;
  return (...given) => {
    clearTimeout(timer);
    timer = setTimeout(() => work(...given), wait);
  };
}

const makeRow = (tag, cells, numbers = []) =>
  make("tr", {}, ...cells.map((cell, k) => make(tag, { class: numbers.includes(k) ? "number" : null, scope: tag === "th" ? "col" : null }, cell)));

export function makeTable(heads, rows, numbers = []) {
  return make("table", {}, make("thead", {}, makeRow("th", heads, numbers)), make("tbody", {}, ...rows.map((cells) => makeRow("td", cells, numbers))));
}
