// The set-up and the plan: what is cut, with what, how fast, and the pace.
import { ask } from "./api.js";
import { el, show } from "./dom.js";
import { phoneCard } from "./phones.js";

const FIELDS = [
  ["edge", "Edge length", "600", "the edge that each pass cuts"],
  ["bit", "Bit diameter", "12.7", "where it cuts, or the name of a bit you keep"],
  ["flutes", "Flutes", "2", "cutting edges on the bit"],
  ["trim", "Trim", "1.6", "taken off sideways, or: buried"],
];
const MORE = [
  ["router", "Router", "", "the name of one you keep: its dial and its sound are known then"],
  ["range", "Speeds on the router's plate", "8000-24000", "helps the hearing"],
  ["max_rpm", "Marked maximum of the bit", "24000", "never exceeded in any advice"],
  ["band", "Chip load printed with the bit", "0.08-0.15", "replaces the starting values"],
];
const NUMBERS = new Set(["edge", "flutes", "max_rpm"]);
const LENGTHS = new Set(["edge", "bit", "trim", "band"]);

export function jobView(house) {
  const form = fieldsFor(house);
  const wrong = el("p", { class: "wrong", role: "alert", hidden: true });
  const plan = el("section", { "aria-live": "polite" });
  const save = el("button", { type: "submit", class: "big" }, "Keep and plan");
  form.append(save);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    for (const input of form.elements) input.removeAttribute("aria-invalid");
    wrong.hidden = true;
    try {
      const told = await ask("PUT", "/api/setup", typed(form));
      house.state.setup = told.setup;
      plan.replaceChildren(planCard(told.plan, house));
      plan.scrollIntoView({ behavior: "smooth", block: "start" });
    } catch (error) {
      wrong.textContent = error.message;
      wrong.hidden = false;
      const field = error.field && form.elements[error.field];
      field?.setAttribute?.("aria-invalid", "true");
      field?.focus?.();
    }
  });
  show(
    el("h1", {}, "What are you cutting?"),
    el("div", { class: "card" }, form, wrong),
    plan,
    house.state.here ? phoneCard(house) : null,
    el("p", { class: "small" },
      "Everything stays on this computer: the sound, the figures and these entries. The page asks nothing of any other machine."),
  );
  if (house.state.setup.edge)
    ask("POST", "/api/plan", house.state.setup)
      .then((told) => plan.replaceChildren(planCard(told, house)))
      .catch(() => {});
}

function fieldsFor(house) {
  const kept = house.state.setup;
  const units = el("select", { name: "units" },
    el("option", { value: "mm", selected: kept.units !== "in" }, "millimetres"),
    el("option", { value: "in", selected: kept.units === "in" }, "inches"));
  const material = el("select", { name: "material" },
    el("option", { value: "" }, "not told"),
    ...house.state.materials.map((name) =>
      el("option", { value: name, selected: name === kept.material }, name)));
  return el("form", { class: "fields", novalidate: true, autocomplete: "off" },
    el("label", {}, "Figures in", units),
    ...FIELDS.map((field) => input(field, kept)),
    el("label", {}, "Material", material),
    el("details", { open: MORE.some(([name]) => kept[name]) },
      el("summary", {}, "More about bit and router"),
      ...MORE.map((field) => input(field, kept))));
}

function input([name, label, example, hint], kept) {
  return el("label", {}, label,
    el("input", {
      name, value: kept[name] ?? "", placeholder: example,
      inputmode: NUMBERS.has(name) ? "decimal" : "text",
      autocapitalize: "off",
    }),
    el("span", { class: "hint" }, hint));
}

/** What was typed, with the chosen unit behind bare numbers. */
function typed(form) {
  const told = {};
  const unit = form.elements.units.value;
  for (const { name, value } of form.elements) {
    if (!name) continue;
    const text = value.trim();
    told[name] = LENGTHS.has(name) && /^[\d.,/\s-]+$/.test(text) ? text + unit : text;
  }
  return told;
}

function planCard(plan, house) {
  const figure = (name, value) => el("div", {}, el("dt", {}, name), el("dd", {}, value));
  return el("div", { class: "card" },
    el("h2", {}, "Before the cut"),
    plan.missing.length
      ? el("p", { class: "lead" }, `Tell ${plan.missing.join(", ")} to get a speed and a pace.`)
      : null,
    plan.speed ? el("dl", { class: "figures" },
      figure("start at about", plan.speed),
      plan.aim ? figure("one pass in", plan.aim) : null,
      plan.marks ? figure("quarter marks at", plan.marks.slice(0, 3).map((m) => m.replace(" s", "")).join(", ") + " s") : null,
      plan.band ? figure("chip thickness", `${plan.band.low.split(" ")[0]} to ${plan.band.high}`) : null) : null,
    plan.table.length ? el("details", {}, el("summary", {}, "At other speeds"),
      el("table", {},
        el("thead", {}, el("tr", {}, el("th", {}, "speed"), el("th", {}, "one pass in"))),
        el("tbody", {}, ...plan.table.map((row) =>
          el("tr", {}, el("td", {}, row.speed), el("td", {}, row.aim)))))) : null,
    plan.band ? el("p", { class: "small" }, `Band: ${plan.band.basis}.`) : null,
    el("ul", { class: "cautions" }, ...plan.cautions.map((text) => el("li", {}, text))),
    plan.speed ? el("button", { type: "button", class: "big", onclick: () => house.go("passes") }, "On to the passes") : null);
}
