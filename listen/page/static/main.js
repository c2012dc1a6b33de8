// Which part of the job is shown. A take under way goes on whatever is looked at.
import { ask } from "./api.js";
import { say } from "./dom.js";
import { dialView } from "./dial.js";
import { fileView } from "./file.js";
import { jobView } from "./job.js";
import { passesView } from "./passes.js";
import { pastView } from "./past.js";

const VIEWS = { job: jobView, passes: passesView, dial: dialView, file: fileView, past: pastView };
const tabs = [...document.querySelectorAll("nav button")];
let leave = null;

/** What every view may use. */
const house = {
  state: { here: true, setup: {}, materials: [], unfinished: [], phones_welcome: false },
  go,
  async refresh() {
    house.state = await ask("GET", "/api/state");
    return house.state;
  },
};

async function go(name) {
  leave?.();
  for (const tab of tabs) {
    if (tab.dataset.tab === name) tab.setAttribute("aria-current", "page");
    else tab.removeAttribute("aria-current");
  }
  history.replaceState(null, "", `#${name}`);
  leave = VIEWS[name](house) ?? null;
  scrollTo(0, 0);
}

for (const tab of tabs) tab.addEventListener("click", () => go(tab.dataset.tab));

try {
  await house.refresh();
} catch (error) {
  say(error.message);
}
const asked = location.hash.slice(1);
const told = Boolean(house.state.setup.edge);
go(asked in VIEWS ? asked : told ? "passes" : "job");
