// Questions to the computer. Every answer is an object; a refusal throws its sentence.

export class Refusal extends Error {
  constructor(text, field) {
    super(text);
    this.field = field ?? "";
  }
}

export async function ask(method, path, body) {
  let answer;
  try {
    answer = await fetch(path, { method, body: body === undefined ? undefined : JSON.stringify(body) });
  } catch {
    throw new Refusal("The computer does not answer. Is the program still running, and the phone on the same Wi-Fi?");
  }
  if (answer.status === 401) location.replace("/pair");
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Refusal(told.error ?? "That did not work.", told.field);
  return told;
}

/** Upload a file; `onShare` gets the part that has gone, 0 to 1. */
export function upload(file, onShare) {
  return new Promise((done, refuse) => {
    const request = new XMLHttpRequest();
    request.open("POST", `/api/upload?name=${encodeURIComponent(file.name)}`);
    request.responseType = "json";
    request.upload.onprogress = (event) => event.lengthComputable && onShare(event.loaded / event.total);
    request.onload = () =>
      request.status === 200
        ? done(request.response)
        : refuse(new Refusal(request.response?.error ?? "The file did not arrive."));
    request.onerror = () => refuse(new Refusal("The link broke while the file was on its way. Try again."));
    request.send(file);
  });
}

/** Wait for a review; `onShare` gets the part that is done. */
export async function reviewed(job, onShare) {
  for (;;) {
    const told = await ask("GET", `/api/review/${job}`);
    if (told.error) throw new Refusal(told.error);
    if (told.answer) return told.answer;
    onShare(told.share);
    await new Promise((done) => setTimeout(done, 400));
  }
}
