"use strict";
// Writes the numbers behind a clip when they are asked for.

function element(name, content = "", attributes = {}) {
  const made = document.createElement(name);
  if (Array.isArray(content)) made.append(...content);
  else made.textContent = content;
  for (const [attribute, value] of Object.entries(attributes)) made.setAttribute(attribute, value);
  return made;
}

function table([caption, head, rows]) {
  const cells = head.map((text) => element("th", text, { scope: "col" }));
  const lines = rows.map((row) => element("tr", row.map((text) => element("td", [element("bdi", text)]))));
  const parts = [element("caption", caption), element("thead", [element("tr", cells)]), element("tbody", lines)];
  return element("div", [element("table", parts)], { class: "scroller", role: "group", "aria-label": caption, tabindex: "0" });
}

document.addEventListener("toggle", (event) => {
  if (!event.target.matches(".numbers") || event.target.childElementCount > 1) return;
  const clip = clips[panels.indexOf(event.target.closest(".clip"))];
  event.target.append(...clip.tables.map(table));
  if (clip.notes.length) event.target.append(element("ul", clip.notes.map((text) => element("li", text, { dir: "auto" }))));
}, true);
