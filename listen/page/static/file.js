// A recording that was made elsewhere: bring it, wait, read.
import { reviewed, upload } from "./api.js";
import { bandPicture } from "./band.js";
import { el, show } from "./dom.js";
import { aimOf } from "./verdict.js";

export function fileView(house) {
  const { here, setup, most_upload_mb } = house.state;
  const said = el("p", { class: "lead", role: "status", "aria-live": "polite" });
  const bar = el("progress", { max: 1, value: 0, "aria-label": "progress", hidden: true });
  const result = el("section");
  const take = async (event) => {
    const file = event.target.files[0];
    if (!file) return;
    event.target.value = "";
    result.replaceChildren();
    if (file.size > most_upload_mb * 1e6) {
      said.textContent = `"${file.name}" is larger than ${most_upload_mb} MB. Bring a shorter recording, or only the sound of the video.`;
      return;
    }
    busy(true);
    try {
      said.textContent = `Bringing "${file.name}" to the computer…`;
      const { job, take: name } = await upload(file, (share) => (bar.value = share * 0.5));
      said.textContent = "Listening to it…";
      const answer = await reviewed(job, (share) => (bar.value = 0.5 + share * 0.5));
      said.textContent = "";
      result.replaceChildren(reviewCard(answer, name));
    } catch (error) {
      said.textContent = error.message;
    }
    busy(false);
  };
  const picks = [pick("Choose a recording", { accept: "audio/*,video/*", onchange: take })];
  if (!here)
    picks.push(pick("Record one now with the phone's recorder", { accept: "audio/*", capture: true, onchange: take }));
  const busy = (so) => {
    bar.value = 0;
    bar.hidden = !so;
    for (const one of picks) one.hidden = so;
  };
  show(
    el("h1", {}, "Review a recording"),
    setup.edge
      ? el("p", { class: "lead" }, `It is judged with what is told under "Job": ${setup.edge} edge.`)
      : el("div", { class: "card" },
        el("p", { class: "lead" }, "Nothing is told of the cut yet: times and speed are heard, but no pass can be judged."),
        el("div", { class: "row" }, el("button", { type: "button", onclick: () => house.go("job") }, "Tell what you cut"))),
    ...picks, bar, said, result,
    el("p", { class: "small" }, `Sound recordings and videos, up to ${most_upload_mb} MB. It stays on the computer that runs Toothbeat.`));
}

function pick(words, attributes) {
  return el("label", { class: "filepick" }, words, el("input", { type: "file", "aria-label": words, ...attributes }));
}

/** The one thing to do otherwise, over all passes. */
export function changeFirst(summary) {
  return el("p", { class: "lead" }, el("span", { class: "small" }, "Change first: "), el("b", {}, summary.change_first));
}

/** A review in short, with a link to the whole page of it. */
export function reviewCard(answer, name) {
  const { passes, summary, notes } = answer;
  return el("div", { class: "card" },
    summary ? changeFirst(summary) : el("p", { class: "lead" }, "No pass was heard in it."),
    bandPicture(passes),
    passes.length ? el("div", { class: "scroll" }, el("table", {},
      el("thead", {}, el("tr", {}, ...["", "time", "rpm", "next"].map((t) => el("th", { class: t === "rpm" && "number" }, t)))),
      el("tbody", {}, ...passes.map((pass) => el("tr", {},
        el("td", { class: "number" }, String(pass.number)), el("td", {}, pass.time),
        el("td", { class: "number" }, pass.rpm.toLocaleString("en")),
        el("td", {}, el("b", {}, pass.headline),
          ...[(aimOf(pass) || []).join(" "), pass.verdict].filter(Boolean).flatMap((line) => [el("br"), line]))))))) : null,
    ...notes.map((text) => el("p", { class: "small" }, text)),
    el("a", { href: `/api/takes/${name}/report`, target: "_blank", rel: "noopener" }, "The whole review, to read or print"));
}
