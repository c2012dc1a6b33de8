// What the numbers on the dial mean: set one, let it run, and the next is asked for by itself.
import { ask, reviewed } from "./api.js";
import { el, readOut, say, show } from "./dom.js";
import { Link } from "./link.js";
import { MicrophoneError, openMicrophone } from "./microphone.js";
import { play } from "./sounds.js";
import { panel } from "./verdict.js";

let run = null;

export function dialView(house) {
  if (run) draw();
  else ready(house);
}

function ready(house, problem) {
  const input = el("input", { name: "settings", value: "1,2,3,4,5,6", autocapitalize: "characters" });
  const form = el("form", { class: "fields card", onsubmit: (event) => {
    event.preventDefault();
    begin(house, input.value);
  } },
  el("label", {}, "Settings, in the order you will set them", input,
    el("span", { class: "hint" }, "numbers or letters: 1,2,3,4,5,6 or A..G")),
  el("button", { type: "submit", class: "big" }, "Start"));
  show(
    el("h1", {}, "What the dial really does"),
    problem ? el("p", { class: "card wrong", role: "alert" }, problem) : null,
    el("p", { class: "lead" }, "Take the bit out of the wood and let the router run free, held firmly. You are asked for one setting after the other; each takes about five seconds."),
    form,
    el("p", { class: "small" }, "Remove the bit if you can, with the plug pulled. Keep within the speeds that the maker allows."));
}

async function begin(house, settings) {
  const made = { house, settings: [], at: 0, rpm: null, linked: "waiting", done: null };
  try {
    made.microphone = await openMicrophone({
      onFrame: (frame) => made.link?.send(frame),
      onTrouble: say,
      onBack: () => say(""),
    });
  } catch (error) {
    if (!(error instanceof MicrophoneError)) throw error;
    ready(house, error.message);
    return;
  }
  run = made;
  made.link = new Link({
    rate: made.microphone.rate,
    setup: house.state.setup,
    mode: "dial",
    settings,
    onNews: (news) => told(made, news),
    onState: (state, text) => (state === "refused" ? stop(made, text) : say(text)),
  });
}

function told(made, news) {
  if (news.kind === "dial") {
    if (news.settings.filter((s) => s.rpm).length > made.settings.filter((s) => s.rpm).length)
      play(made.microphone.context, "good");
    made.settings = news.settings;
    made.at = news.at;
    made.prompt = news.prompt;
    if (news.at === null) made.link.end();
  } else if (news.kind === "speed") {
    made.rpm = news.rpm;
    const rpm = document.getElementById("rpm");
    if (rpm) rpm.textContent = words(news.rpm);
    return;
  } else if (news.kind === "notice") {
    say(news.text);
  } else if (news.kind === "ended") {
    stop(made);
    return;
  } else return;
  draw();
}

const words = (rpm) => (rpm ? `${(Math.round(rpm / 10) * 10).toLocaleString("en")} rpm` : "no router heard");

async function stop(made, problem) {
  if (made !== run) return;
  run = null;
  readOut(null);
  made.link?.close();
  await made.microphone?.close().catch(() => {});
  if (problem) ready(made.house, problem);
  else result(made);
}

function tiles(made) {
  return el("ol", { class: "settings" }, ...made.settings.map((setting, i) =>
    el("li", { class: setting.rpm ? "done" : i === made.at ? "next" : "" },
      el("b", {}, setting.label), setting.rpm ? setting.rpm.toLocaleString("en") : "to do")));
}

function draw() {
  if (!document.querySelector('nav [data-tab="dial"]').getAttribute("aria-current")) return;
  const setting = run.settings[run.at];
  const large = panel("waiting", setting ? `Set ${setting.label}` : "…", "", run.prompt ?? "");
  readOut(large);
  show(el("div", { class: "stage live" },
    large,
    el("div", { class: "now" }, el("span", { class: "rpm", id: "rpm" }, words(run.rpm))),
    tiles(run),
    el("div", { class: "row" },
      el("button", { type: "button", id: "again", onclick: () => run.link.say("again") }, "Measure the last one again"),
      el("button", { type: "button", id: "skip", onclick: () => run.link.say("skip") }, "Leave this one out"),
      el("button", { type: "button", id: "end", onclick: () => run.link.end() }, "Stop"))));
}

/** Under which name the dial is kept, so that the plan can say what to set. */
function keeping(made, measured) {
  const name = el("input", { name: "router", value: made.house.state.setup.router ?? "", autocapitalize: "off" });
  const said = el("p", { role: "status" });
  return el("form", { class: "fields card", onsubmit: async (event) => {
    event.preventDefault();
    said.textContent = "Measuring it closely…";
    try {
      const settings = measured.map((setting) => setting.label).join(",");
      const { job } = await ask("POST", `/api/takes/${made.link.take}/dial`, { router: name.value, settings });
      const answer = await reviewed(job, () => {});
      said.textContent = [`Kept as "${answer.router}".`, ...answer.notes].join(" ");
    } catch (error) {
      said.textContent = error.message;
    }
  } },
  el("label", {}, "Keep it under the name of the router", name),
  el("button", { type: "submit" }, "Keep it"), said);
}

function result(made) {
  const measured = made.settings.filter((setting) => setting.rpm);
  show(
    el("h1", {}, "The dial"),
    measured.length ? el("table", {},
      el("thead", {}, el("tr", {}, el("th", {}, "setting"), el("th", { class: "number" }, "rpm"), el("th", { class: "number" }, "±"))),
      el("tbody", {}, ...measured.map((setting) => el("tr", {},
        el("td", {}, el("b", {}, setting.label)),
        el("td", { class: "number" }, setting.rpm.toLocaleString("en")),
        el("td", { class: "number" }, String(setting.rpm_u95)))))) : el("p", { class: "card lead" }, "No setting was measured."),
    measured.length > 1 ? keeping(made, measured) : null,
    el("p", { class: "card" }, "Running free. In the cut, a router without electronic speed control runs slower. The take is kept under Past."),
    el("button", { type: "button", class: "big", onclick: () => ready(made.house) }, "Measure again"));
}
