// The secret stands behind the # of the scanned address, so it never reaches a log.
const said = document.getElementById("said");
const again = document.getElementById("again");
const secret = location.hash.slice(1);
history.replaceState(null, "", "/pair");

async function pair() {
  again.hidden = true;
  if (!secret) {
    said.textContent =
      "This phone is not let in yet. Scan the code that the computer shows.";
    return;
  }
  try {
    const answer = await fetch("/api/pair", {
      method: "POST",
      body: JSON.stringify({ secret }),
    });
    if (answer.ok) {
      location.replace("/");
      return;
    }
    said.textContent = (await answer.json()).error;
  } catch {
    said.textContent = "The computer does not answer. Is the phone on the same Wi-Fi?";
    again.hidden = false;
  }
}

again.addEventListener("click", pair);
pair();
