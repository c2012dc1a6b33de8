// The set-up and the plan: what is cut, with what, how fast, and the pace.
import { ask } from "./api.js";
import { el, show } from "./dom.js";
import { phoneCard } from "./phones.js";
import { windowPicture } from "./window.js";

const FIELDS = [
  ["edge", "Edge length", "600", "the edge that each pass cuts"],
  ["bit", "Bit diameter", "12.7", "where it cuts, or the name of a bit you keep"],
  ["flutes", "Flutes", "2", "cutting edges on the bit"],
  ["trim", "Trim", "1.6", "taken off sideways, or: buried"],
];
const MORE = [
  ["thickness", "Thickness", "19", "of the wood, as far as the bit cuts it: tells power and bending"],
  ["router", "Router", "", "the name of one you keep: its dial and its sound are known then"],
  ["range", "Speeds on the router's plate", "8000-24000", "helps the hearing"],
  ["max_rpm", "Marked maximum of the bit", "24000", "never exceeded in any advice"],
  ["band", "Chip load printed with the bit", "0.08-0.15", "replaces the starting values"],
];
const NUMBERS = new Set(["edge", "flutes", "max_rpm"]);
const LENGTHS = new Set(["edge", "bit", "trim", "thickness", "band"]);

export function jobView(house) {
  const form = fieldsFor(house);
  const wrong = el("span", { class: "wrong", role: "alert", hidden: true });
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
      if (field?.closest?.("label")) field.after(wrong);
      else save.before(wrong);
      field?.setAttribute?.("aria-invalid", "true");
      field?.focus?.({ preventScroll: true });
      wrong.scrollIntoView({ block: "center" });
    }
  });
  show(
    el("h1", {}, "What are you cutting?"),
    el("div", { class: "card" }, form),
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
  const figure = (name, value, more) => el("div", {}, el("dt", {}, name), el("dd", {}, value),
    more ? el("dd", { class: "more" }, more) : null);
  return el("div", { class: "card" },
    el("h2", {}, "Before the cut"),
    plan.missing.length
      ? el("p", { class: "lead" }, `Tell ${plan.missing.join(", ")} to get a speed and a pace.`)
      : null,
    plan.trouble ? el("p", { class: "wrong", role: "alert" }, plan.trouble) : null,
    plan.speed ? el("dl", { class: "figures" },
      figure("start at about", plan.speed, plan.dial && `dial at ${plan.dial}`),
      plan.aim ? figure("one pass in", plan.aim) : null,
      plan.marks ? figure("quarter marks at", plan.marks.slice(0, 3).map((m) => m.replace(" s", "")).join(", ") + " s") : null,
      plan.work_up_to ? figure("if that goes well", plan.work_up_to.speed,
        [plan.work_up_to.dial && `dial at ${plan.work_up_to.dial}`, plan.work_up_to.aim].filter(Boolean).join(", ")) : null,
      plan.band ? figure("chip thickness", `${plan.band.low.split(" ")[0]} to ${plan.band.high}`) : null) : null,
    plan.table.length ? fold("At other speeds", table(
      ["dial", "speed", "one pass in"], plan.table.map((row) => [row.dial ?? "", row.speed, row.aim]))) : null,
    plan.limits.length ? fold("The limits",
      el("p", { class: "small" }, "How far the feed or the speed may move before each is reached. The first is the nearest."),
      table(["limit", "at", "room"], plan.limits.map((limit) => [limit.name, limit.at, limit.room]))) : null,
    plan.window ? fold("The window",
      el("p", { class: "small" }, "Every speed and feed that keeps all limits. The bar is where to start."),
      windowPicture(plan.window)) : null,
    plan.assumed.length ? el("p", { class: "small" }, `Assumed, as not told: ${plan.assumed.join(", ")}.`) : null,
    plan.band ? el("p", { class: "small" }, `Band: ${plan.band.basis}.`) : null,
    el("ul", { class: "cautions" }, ...[...plan.notes, ...plan.cautions].map((text) => el("li", {}, text))),
    plan.speed ? el("button", { type: "button", class: "big", onclick: () => house.go("passes") }, "On to the passes") : null);
}

function fold(title, ...children) {
  return el("details", {}, el("summary", {}, title), ...children);
}

/** A table without the columns in which nothing stands. */
function table(heads, rows) {
  const used = heads.map((_, column) => rows.some((row) => row[column]));
  const kept = (cells, name) => cells.filter((_, column) => used[column]).map((cell) => el(name, {}, cell));
  return el("div", { class: "scroll" }, el("table", {},
    el("thead", {}, el("tr", {}, ...kept(heads, "th"))),
    el("tbody", {}, ...rows.map((row) => el("tr", {}, ...kept(row, "td"))))));
}
