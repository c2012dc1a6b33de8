// The device's microphone with everything off that would change the sound.
const WANTED = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
const NAMES = {
  echoCancellation: "echo cancelling",
  noiseSuppression: "noise suppression",
  autoGainControl: "automatic gain",
};

export class MicrophoneError extends Error {}

/** Why this browser cannot hear, in a sentence with what to do. */
export function explain(error) {
  if (!window.isSecureContext)
    return "The microphone works only over the safe address. Open the one that the computer shows, starting with https.";
  if (!navigator.mediaDevices?.getUserMedia)
    return "This browser gives no page a microphone. Use another, or record with the phone's own recorder and bring the file.";
  const sentences = {
    NotAllowedError: "The microphone was not allowed. Allow it in the browser's settings for this page, then try again.",
    SecurityError: "The microphone was not allowed. Allow it in the browser's settings for this page, then try again.",
    NotFoundError: "No microphone was found. Plug one in, or use the phone.",
    NotReadableError: "The microphone is in use by another program. Close that, then try again.",
    AbortError: "The microphone stopped. Try again.",
  };
  return sentences[error?.name] ?? "The microphone could not be opened. Try again, or bring a file.";
}

/**
 * Open the microphone. `onFrame({pcm, first, peak, at})` gets every frame;
 * `onTrouble(text)` is told when the sound stops coming, `onBack()` when it comes again.
 */
export async function openMicrophone({ onFrame, onTrouble, onBack }) {
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({
      audio: { ...WANTED, channelCount: { ideal: 1 } },
      video: false,
    });
  } catch (error) {
    throw new MicrophoneError(explain(error));
  }
  const context = new AudioContext({ latencyHint: "interactive" });
  await context.audioWorklet.addModule("/static/worklet.js");
  const source = context.createMediaStreamSource(stream);
  const node = new AudioWorkletNode(context, "capture", { numberOfOutputs: 0 });
  node.port.onmessage = (event) => onFrame(event.data);
  source.connect(node);
  await context.resume();

  const track = stream.getAudioTracks()[0];
  track.addEventListener("ended", () =>
    onTrouble("The microphone is gone. What was recorded is kept. Plug it in, then begin a new take."));
  track.addEventListener("mute", () => onTrouble("The microphone gives no sound just now."));
  track.addEventListener("unmute", onBack);
  context.addEventListener("statechange", () => {
    if (context.state === "running") onBack();
    else if (context.state !== "closed") onTrouble("The device has paused the microphone. Tap the page.");
  });
  const wake = keepAwake(context);

  return {
    rate: context.sampleRate,
    context,
    refused: refusedBy(track.getSettings()),
    async close() {
      wake.release();
      node.port.onmessage = null;
      track.stop();
      await context.close();
    },
  };
}

/** What the device left on although it was asked not to, in words. */
export function refusedBy(settings) {
  return Object.keys(WANTED).filter((key) => settings[key] === true).map((key) => NAMES[key]);
}

/** Keep the screen on, and start again after the phone slept. */
function keepAwake(context) {
  let lock = null;
  const hold = async () => {
    if (document.visibilityState !== "visible") return;
    await context.resume().catch(() => {});
    try {
      lock = await navigator.wakeLock?.request("screen");
    } catch {
      lock = null;
    }
  };
  const tap = () => context.resume().catch(() => {});
  document.addEventListener("visibilitychange", hold);
  document.addEventListener("click", tap);
  hold();
  return {
    release() {
      document.removeEventListener("visibilitychange", hold);
      document.removeEventListener("click", tap);
      lock?.release().catch(() => {});
    },
  };
}
