// What is read from two metres: one shape, one word, one aim.
import { el, svg } from "./dom.js";

const LONG_WHY = 90; // letters: more than four lines on a phone

// Shapes first, then words, then colour: any one of them is enough.
const SHAPES = {
  good: "M12 1a11 11 0 1 0 .01 0zM6 12.5l2-2 3 3 6-7 2 2-8 9z",
  faster: "M2 3l9 9-9 9zM12 3l10 9-10 9z",
  slower: "M22 3l-9 9 9 9zM12 3L2 12l10 9z",
  down: "M9 2h6v10h6l-9 10L3 12h6z",
  up: "M9 22h6V12h6L12 2 3 12h6z",
  less: "M2 9h20v6H2z",
  leave: "M9 2h6v7h7v6h-7v7H9v-7H2V9h7z",
  stop: "M8 1h8l7 7v8l-7 7H8l-7-7V8z",
  quiet: "M12 2l10 10-10 10L2 12z",
  ear: "M3 9h3v6H3zM8 5h3v14H8zM13 2h3v20h-3zM18 8h3v8h-3z",
};
const LOOKS = {
  "good": "good",
  "faster": "faster",
  "slower": "slower",
  "turn down": "down",
  "turn up": "up",
  "take less off": "less",
  "leave more": "leave",
  "stop": "stop",
  "too close to call": "quiet",
  "not judged": "quiet",
};

export function shape(name) {
  return svg("svg", { viewBox: "0 0 24 24", class: "shape", "aria-hidden": "true" },
    svg("path", { d: SHAPES[name], "fill-rule": "evenodd" }));
}

/** The big panel. `look` is a name above; the word is what counts; `aim` is ["aim for", "6 to 9 s"]. */
export function panel(look, word, aim, why) {
  const large = el("p", { class: "word" }, word);
  // The longest word fills the width, whatever the screen, and leaves room for the aim.
  const parts = word.split(" ");
  large.style.setProperty("--letters", Math.max(4, ...parts.map((part) => part.length)));
  large.style.setProperty("--lines", parts.length);
  const goal = aim ? el("b", {}, aim[1]) : null;
  goal?.style.setProperty("--letters", aim[1].length);
  return el("section", { class: `verdict ${look}${why?.length > LONG_WHY ? " wordy" : ""}` },
    shape(look === "cutting" || look === "waiting" ? "ear" : look),
    large,
    aim ? el("p", { class: "aim" }, el("span", {}, aim[0]), " ", goal) : null,
    why ? el("p", { class: "why" }, why) : null);
}

/** What the next pass is for: ["aim for", "6 to 9 s"] or ["to", "16,000 rpm"]; else empty. */
export function aimOf(pass) {
  const to = pass.turn_to_rpm ? `${Math.round(pass.turn_to_rpm).toLocaleString("en")} rpm` : "";
  const turning = { "turn down": "to", "turn up": "to", "stop": "turn down to" }[pass.cue];
  return turning ? to && [turning, to] : pass.aim && ["aim for", pass.aim];
}

/** The panel for a pass that has just ended. */
export function passPanel(pass) {
  const look = LOOKS[pass.cue] ?? "quiet";
  return panel(look, pass.headline, aimOf(pass), `Pass ${pass.number}${pass.again ? ", heard again" : ""}: ${pass.time}. ${pass.advice}`);
}

/** One earlier pass in the row under the panel. */
export function chip(pass) {
  return el("li", {}, `${pass.number} ${pass.headline}${pass.again ? " (heard again)" : ""}`);
}
