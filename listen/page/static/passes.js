// Practising: start once, then the page needs no touch until the end.
import { ask } from "./api.js";
import { bandPicture, figuresOf } from "./band.js";
import { el, readOut, say, show } from "./dom.js";
import { changeFirst } from "./file.js";
import { Link } from "./link.js";
import { MicrophoneError, openMicrophone } from "./microphone.js";
import { pace, play } from "./sounds.js";
import { chip, panel, passPanel } from "./verdict.js";

const LEAST_NOTE_MS = 4_000; // once the level is right again
const LONGEST_END_MS = 20_000; // the end is the review of all of it
const DWELL_MS = 3_000; // then it was heeded, or was none
const NOTE_MS = 22_000; // a warning that still holds is told again every 20 s

let take = null;

export function passesView(house) {
  if (take) {
    draw();
    return () => {};
  }
  ready(house);
  return () => {};
}

function ready(house, problem) {
  const { setup, unfinished } = house.state;
  const told = [setup.edge && `${setup.edge} edge`, setup.bit && `${setup.bit} bit`,
    setup.flutes && `${setup.flutes} flutes`, setup.trim && `${setup.trim} trim`, setup.material];
  show(
    el("h1", {}, "Practise"),
    problem ? el("p", { class: "card wrong", role: "alert" }, problem) : null,
    el("div", { class: "card" },
      el("p", { class: "lead" }, told.filter(Boolean).join(", ") || "Nothing is told of the cut yet: times and speed are heard, but no pass can be judged."),
      el("div", { class: "row" },
        el("button", { type: "button", onclick: () => house.go("job") },
          told.some(Boolean) ? "Change" : "Tell what you cut"))),
    el("button", { type: "button", class: "big", onclick: () => begin(house) }, "Start listening"),
    ...unfinished.map((kept) => offer(house, kept)),
    el("div", { class: "card" },
      el("p", {}, "Prop the phone or computer one to three metres away, clear of chips, and start before the router runs. Then touch nothing: look at the work, not here. After each pass, lift off and look or listen."),
      el("p", {}, "With headphones, soft ticks mark the quarters of the pass. Three high notes say faster, one long low note says slower, two rising notes say good.")),
    el("p", { class: "small" }, "The sound is kept on the computer that runs Toothbeat, nowhere else."),
  );
}

function offer(house, kept) {
  let sure = false;
  return el("div", { class: "card", role: "status" },
    el("p", { class: "lead" }, `A take from ${kept.when} was broken off. What was recorded is safe.`),
    el("div", { class: "row" },
      el("button", { type: "button", onclick: () => house.go("past") }, "Review it"),
      el("button", { type: "button", onclick: async (event) => {
        if (!sure) {
          sure = true;
          event.target.textContent = "Really delete?";
          return;
        }
        await ask("DELETE", `/api/takes/${kept.take}`).catch((error) => say(error.message));
        event.target.closest(".card").remove();
        await house.refresh();
      } }, "Delete it")));
}

async function begin(house) {
  const made = {
    house, passes: [], entered: null, rpm: null, level: null, hands: null,
    link: null, microphone: null, linked: "opening", trouble: "", broken: "", note: "", ended: null, kept: true, hush: null,
  };
  try {
    made.microphone = await openMicrophone({
      onFrame: (frame) => made.link?.send(frame),
      onTrouble: (text) => { made.trouble = text; tellLine(made); },
      onBack: () => { made.trouble = ""; tellLine(made); },
    });
  } catch (error) {
    if (!(error instanceof MicrophoneError)) throw error;
    ready(house, `${error.message} Or record with the phone's own recorder, and bring the file under "A file".`);
    return;
  }
  take = made;
  if (made.microphone.refused.length)
    note(made, `This device keeps ${made.microphone.refused.join(" and ")} on, which changes the sound: take the figures with care, or bring a file from a recorder.`);
  made.link = new Link({
    rate: made.microphone.rate,
    setup: house.state.setup,
    onNews: (news) => { told(made, news); },
    onState: (state, text) => linked(made, state, text),
  });
  draw();
}

function linked(made, state, text) {
  made.linked = state;
  if (state === "refused") {
    finish(made, text);
    return;
  }
  made.broken = text;
  tellLine(made);
  refreshNow();
}

/** What concerns the whole take: what is wrong until it is put right, a note for a while. */
function tellLine(made) {
  if (made === take) say([made.broken, made.trouble, made.note].filter(Boolean).join(" "));
}

function note(made, text) {
  clearTimeout(made.noteEnds);
  made.warned = 0;
  made.note = text;
  made.noteEnds = setTimeout(() => { made.note = ""; tellLine(made); }, NOTE_MS);
  tellLine(made);
}

function told(made, news, earlier = false) {
  const sounds = made.microphone?.context;
  if (news.kind === "welcome") {
    made.kept = news.kept;
    for (const before of news.told ?? []) told(made, before, true);
  } else if (news.kind === "arrived") {
    made.kept = news.kept;
    refreshNow();
    return;
  } else if (news.kind === "speed") {
    made.rpm = news.rpm;
    refreshNow();
    return;
  } else if (news.kind === "level") {
    made.level = news;
    if (news.warning) {
      note(made, news.warning);
      made.warned = Date.now();
    } else if (made.warned && !news.faulty && Date.now() - made.warned > LEAST_NOTE_MS) {
      note(made, "");
    }
    refreshNow();
    return;
  } else if (news.kind === "entered") {
    made.entered = news;
    made.dwell = null;
    if (made.taken) note(made, "");
    made.taken = false;
    made.hush = pace(sounds, news.marks_s, news.age_s);
  } else if (news.kind === "dwell") {
    made.dwell = news.text;
    clearTimeout(made.dwellEnds);
    made.dwellEnds = setTimeout(() => { made.dwell = null; draw(); }, DWELL_MS);
    play(sounds, "dwell");
  } else if (news.kind === "pass") {
    const at = made.passes.findIndex((pass) => pass.number === news.number);
    if (at < 0) {
      made.passes.push(news);
      made.entered = null;
      made.dwell = null;
      made.hush?.();
    } else {
      made.passes[at] = news;
    }
    if (news.aloud && !earlier) play(sounds, news.cue);
  } else if (news.kind === "withdrawn") {
    made.passes = made.passes.filter((pass) => pass.number !== news.number);
    made.taken = true;
    note(made, news.text);
  } else if (news.kind === "hands") {
    made.hands = news;
  } else if (news.kind === "notice" || news.kind === "failed") {
    note(made, news.text);
  } else if (news.kind === "ended") {
    made.ended = news;
    finish(made);
    return;
  }
  draw();
}

function end() {
  take.linked = "ending";
  take.hush?.();
  take.link.end();
  refreshNow();
  const ending = take;
  setTimeout(() => ending === take && !ending.ended &&
    finish(ending, "The computer does not answer. What arrived there is kept."), LONGEST_END_MS);
}

async function finish(made, problem) {
  if (made !== take) return;
  take = null;
  say("");
  readOut(null);
  made.link?.close();
  await made.microphone?.close().catch(() => {});
  await made.house.refresh().catch(() => {});
  if (document.querySelector('nav [data-tab="passes"]').getAttribute("aria-current")) summary(made, problem);
}

function summary(made, problem) {
  const sum = made.ended?.summary;
  show(
    el("h1", {}, "The take is kept"),
    problem ? el("p", { class: "card wrong", role: "alert" }, problem) : null,
    sum ? el("div", { class: "card" },
      changeFirst(sum),
      el("dl", { class: "figures" },
        figure("passes", String(sum.passes)), figure("in the band", String(sum.good)),
        figure("rubbing", String(sum.rubbing)), figure("overloading", String(sum.overloading)),
        sum.unsure ? figure("too close to call", String(sum.unsure)) : null,
        sum.not_judged ? figure("not judged", String(sum.not_judged)) : null),
      el("p", {}, `${upper(sum.steadiness)}; ${sum.trend}.`)) :
      el("p", { class: "card lead" }, "No pass was heard in this take."),
    row(made.passes),
    bandPicture(made.passes),
    el("div", { class: "row" },
      el("button", { type: "button", class: "big", onclick: () => made.house.go("past") }, "Look back"),
      el("button", { type: "button", class: "big plain", onclick: () => { say(""); ready(made.house); } }, "Another take")),
  );
}

/** What stands of each pass. */
function row(passes) {
  return passes.length ? el("ul", { class: "chips", "aria-label": "Passes so far" }, ...passes.map(chip)) : null;
}

function figure(name, value) {
  return el("div", {}, el("dt", {}, name), el("dd", {}, value));
}

const upper = (text) => text.charAt(0).toUpperCase() + text.slice(1);

function draw() {
  if (!take || !document.querySelector('nav [data-tab="passes"]').getAttribute("aria-current")) return;
  const last = take.passes[take.passes.length - 1];
  const picture = bandPicture(take.passes);
  const large = take.dwell ? panel("stop", "Keep moving", "", take.dwell)
    : take.entered ? panel("cutting", "Cutting", take.entered.aim && ["aim for", take.entered.aim])
    : last ? passPanel(last)
    : panel("waiting", "Ready", "", "Start the router, then make a pass. The verdict comes by itself.");
  readOut(take.entered && !take.dwell ? null : large);
  show(el("div", { class: "stage live" },
    large,
    el("div", { class: "now" },
      el("p", {}, el("span", { class: "rpm", id: "rpm" }), el("span", { class: "state", id: "link" })),
      el("button", { type: "button", id: "end", onclick: end }, "End the take")),
    el("label", { class: "level" }, "loudness",
      el("meter", { id: "level", min: -70, max: 0, low: -55, high: -3, optimum: -20 })),
    take.hands ? el("div", { class: "card" },
      el("p", { class: "small" }, `Over all ${take.hands.passes} passes, change first:`),
      el("p", {}, el("b", {}, take.hands.change_first)),
      el("p", { class: "small" }, `${upper(take.hands.steadiness)}; ${take.hands.trend}.`)) : null,
    picture,
    last ? figuresOf(last) : null,
    take.passes.length > 1 ? row(take.passes.slice(-8)) : null));
  refreshNow();
}

/** What changes many times a second, without building the page anew. */
function refreshNow() {
  const rpm = document.getElementById("rpm");
  if (!take || !rpm) return;
  rpm.classList.toggle("none", !take.rpm);
  rpm.textContent = take.rpm ? `${(Math.round(take.rpm / 10) * 10).toLocaleString("en")} rpm` : "no router heard";
  const link = document.getElementById("link");
  const words = { opening: "connecting", waiting: "reconnecting", linked: take.kept ? "recording" : "not recording", ending: "ending" };
  link.textContent = words[take.linked] ?? "";
  link.classList.toggle("broken", take.linked === "waiting" || !take.kept);
  document.getElementById("level").value = take.level?.level_db ?? -70;
}
