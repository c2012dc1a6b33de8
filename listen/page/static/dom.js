// Small help for building pages: never from strings of markup.

/** Make an element: `el("p", {class: "lead"}, "text", child, ...)`; handlers as `onclick`. */
export function el(name, attributes = {}, ...children) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (value === true) node.setAttribute(key, "");
    else node.setAttribute(key, value);
  }
  node.append(...children.filter((child) => child !== null && child !== undefined));
  return node;
}

const SVG = "http://www.w3.org/2000/svg";

export function svg(name, attributes = {}, ...children) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  node.append(...children);
  return node;
}

export function show(...nodes) {
  const view = document.getElementById("view");
  view.replaceChildren(...nodes.filter(Boolean));
  return view;
}

/** The line across the top for what concerns the whole page; empty text hides it. */
export function say(text) {
  const line = document.getElementById("line");
  line.textContent = text;
  line.hidden = !text;
}
