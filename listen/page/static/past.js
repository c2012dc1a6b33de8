// Takes that were kept: review, read, delete.
import { ask, reviewed } from "./api.js";
import { el, show } from "./dom.js";
import { reviewCard } from "./file.js";

export function pastView(house) {
  const list = el("section", { "aria-live": "polite" }, el("p", {}, "Looking…"));
  show(el("h1", {}, "Look back"), list);
  ask("GET", "/api/takes").then(({ takes }) => {
    list.replaceChildren(...(takes.length ? takes.map((take) => row(house, take)) : [
      el("p", { class: "card lead" }, "No take is kept yet. Record one under Passes, or bring a file.")]));
  }).catch((error) => list.replaceChildren(el("p", { class: "card wrong" }, error.message)));
}

function row(house, take) {
  const said = el("p", { role: "status" });
  const bar = el("progress", { max: 1, value: 0, hidden: true, "aria-label": "progress" });
  const place = el("div");
  const { setup } = take;
  const review = async (event) => {
    event.target.disabled = bar.hidden = false;
    event.target.disabled = true;
    try {
      const { job } = await ask("POST", `/api/takes/${take.take}/review`);
      const answer = await reviewed(job, (share) => (bar.value = share));
      place.replaceChildren(reviewCard(answer, take.take));
      await house.refresh();
    } catch (error) {
      said.textContent = error.message;
    }
    event.target.disabled = false;
    bar.hidden = true;
  };
  let sure = false;
  const remove = async (event) => {
    if (!sure) {
      sure = true;
      event.target.textContent = "Really delete?";
      return;
    }
    try {
      await ask("DELETE", `/api/takes/${take.take}`);
      event.target.closest(".card").remove();
      await house.refresh();
    } catch (error) {
      said.textContent = error.message;
    }
  };
  return el("article", { class: "card" },
    el("h2", {}, take.when),
    take.ended ? null : el("p", { class: "lead" }, "Broken off: what was recorded is safe. Review it to mend it."),
    el("p", {}, [take.source === "upload" ? (take.file ? `the file "${take.file}"` : "a file") : `${take.passes} passes heard live, ${take.good} good`,
      setup.edge && `${setup.edge} edge`, setup.bit && `${setup.bit} bit`, setup.material].filter(Boolean).join(", ")),
    take.reviewed ? el("p", {}, el("a", { href: `/api/takes/${take.take}/report`, target: "_blank", rel: "noopener" }, "Read its review")) : null,
    bar, said, place,
    el("div", { class: "row" },
      el("button", { type: "button", onclick: review }, take.reviewed ? "Review it again" : "Review it"),
      el("button", { type: "button", onclick: remove }, "Delete")));
}
