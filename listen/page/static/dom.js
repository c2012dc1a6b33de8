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
  node.append(...children.filter((child) => child !== null && child !== undefined)
    .map((child) => (typeof child === "string" ? together(child) : child)));
  return node;
}

/** A figure and its unit, or the two ends of a range, are never parted by the end of a line. */
function together(text) {
  return text
    .replace(/(\d) ?(mm|in)(?![a-z\d])/g, "$1\u00a0$2")
    .replace(/(\d) (s|rpm|%|m\/s|mm\/s)(?![a-z])/g, "$1\u00a0$2")
    .replace(/(\d) to (?=\d)/g, "$1\u00a0to\u00a0");
}

const SVG = "http://www.w3.org/2000/svg";

export function svg(name, attributes = {}, ...children) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  node.append(...children);
  return node;
}

/** Put these in place of what is shown; who was at a control here stays at it, or goes to the top. */
export function show(...nodes) {
  const view = document.getElementById("view");
  const held = view.contains(document.activeElement) ? document.activeElement.id : null;
  view.replaceChildren(...nodes.filter(Boolean));
  if (held !== null) (document.getElementById(held) ?? view).focus({ preventScroll: true });
  return view;
}

/** Have a screen reader say what a panel shows: a live region must be there before its words are. */
export function readOut(panel) {
  const words = panel ? [...panel.querySelectorAll("p")].map((line) => line.textContent).join(". ") : "";
  const line = document.getElementById("aloud");
  if (line.textContent !== words) line.textContent = words;
}

/** The line across the top for what concerns the whole page; empty text hides it. */
export function say(text) {
  const line = document.getElementById("line");
  line.textContent = text;
  line.hidden = !text;
}
