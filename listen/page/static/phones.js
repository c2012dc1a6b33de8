// Letting phones in: the code is shown on the computer only.
import { ask } from "./api.js";
import { el } from "./dom.js";

const EVERY_MS = 4000;

export function phoneCard(house) {
  const card = el("section", { class: "card" }, el("h2", {}, "Use a phone"));
  if (!house.state.phones_welcome) {
    card.append(el("p", {}, "The phone can be microphone and display. Stop the program and start it again with:"),
      el("p", {}, el("b", {}, "toothbeat page --phone")));
    return card;
  }
  const picture = el("img", { class: "code", alt: "Code that lets one phone in" });
  const address = el("p", { class: "small breakable" });
  const count = el("p", {});
  card.append(
    el("p", {}, "Scan this with the phone, on the same Wi-Fi. The phone will warn that it does not know this computer: that is expected, go on. The code works once."),
    picture, count, address,
    el("button", { type: "button", onclick: forget }, "Let no phone in any more"));
  let shown = "";
  async function refresh() {
    if (!card.isConnected && shown) return;
    try {
      const told = await ask("GET", "/api/code");
      if (told.svg !== shown) picture.src = shown = told.svg;
      address.textContent = told.url.split("#")[0];
      count.textContent = told.phones > 1 ? `${told.phones} phones are let in.`
        : told.phones === 1 ? "1 phone is let in." : "No phone is let in yet.";
    } catch {
      count.textContent = "The computer does not answer.";
    }
    setTimeout(refresh, EVERY_MS);
  }
  async function forget() {
    await ask("POST", "/api/forget");
  }
  refresh();
  return card;
}
