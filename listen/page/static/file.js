// A recording that was made elsewhere: bring it, wait, read.
import { reviewed, upload } from "./api.js";
import { bandPicture } from "./band.js";
import { el, show } from "./dom.js";

export function fileView(house) {
  const said = el("p", { class: "lead", role: "status", "aria-live": "polite" });
  const bar = el("progress", { max: 1, value: 0, "aria-label": "progress", hidden: true });
  const result = el("section");
  const take = async (event) => {
    const file = event.target.files[0];
    if (!file) return;
    event.target.value = "";
    result.replaceChildren();
    bar.hidden = false;
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
    bar.hidden = true;
  };
  show(
    el("h1", {}, "Review a recording"),
    el("p", { class: "lead" }, house.state.setup.edge
      ? `It is judged with what is told under "Job": ${house.state.setup.edge} edge.`
      : 'Tell what you cut under "Job" first: without it, no pass can be judged.'),
    el("label", { class: "filepick" }, "Choose a recording",
      el("input", { type: "file", accept: "audio/*,video/*", onchange: take, "aria-label": "Choose a recording" })),
    el("label", { class: "filepick plainpick" }, "Record one now with the phone's recorder",
      el("input", { type: "file", accept: "audio/*", capture: true, onchange: take, "aria-label": "Record with the phone's recorder" })),
    bar, said, result,
    el("p", { class: "small" }, "Sound recordings and videos, up to 500 MB. It stays on the computer that runs Toothbeat."));
}

/** A review in short, with a link to the whole page of it. */
export function reviewCard(answer, name) {
  const { passes, summary, notes } = answer;
  return el("div", { class: "card" },
    summary ? el("p", { class: "lead" }, el("b", {}, summary.change_first)) : el("p", { class: "lead" }, "No pass was heard in it."),
    bandPicture(passes),
    passes.length ? el("div", { class: "scroll" }, el("table", {},
      el("thead", {}, el("tr", {}, ...["", "time", "rpm", "next"].map((t) => el("th", {}, t)))),
      el("tbody", {}, ...passes.map((pass) => el("tr", {},
        el("td", { class: "number" }, String(pass.number)), el("td", {}, pass.time),
        el("td", { class: "number" }, pass.rpm.toLocaleString("en")),
        el("td", {}, el("b", {}, pass.headline), ...(pass.verdict ? [el("br"), pass.verdict] : []))))))) : null,
    ...notes.map((text) => el("p", { class: "small" }, text)),
    el("a", { href: `/api/takes/${name}/report`, target: "_blank", rel: "noopener" }, "The whole review, to read or print"));
}
