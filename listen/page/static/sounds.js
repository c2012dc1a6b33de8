// The same short sounds as on the terminal: told apart by rhythm and pitch.
const REST = [0, 0.07];
const FASTER = [[1320, 0.09], REST, [1320, 0.09], REST, [1320, 0.09]];
const SLOWER = [[330, 0.7]];
const UNSURE = [[520, 0.14], [0, 0.12], [520, 0.14]];
const STOPPED = [[990, 0.1], [495, 0.1], [990, 0.1], [495, 0.1], [990, 0.1], [495, 0.1]];
export const MELODIES = {
  "good": [[660, 0.14], [0, 0.05], [880, 0.28]],
  "faster": FASTER,
  "leave more": FASTER,
  "slower": SLOWER,
  "take less off": SLOWER,
  "turn down": [[660, 0.2], [0, 0.05], [330, 0.5]],
  "turn up": [[330, 0.2], [0, 0.05], [660, 0.5]],
  "stop": STOPPED,
  "dwell": STOPPED,
  "too close to call": UNSURE,
  "not judged": UNSURE,
};
const TICK_HZ = 2600;
const LAST_TICK_HZ = 1950;

function note(context, pitch, start, length, level) {
  const gain = context.createGain();
  gain.gain.setValueAtTime(0, start);
  gain.gain.linearRampToValueAtTime(level, start + Math.min(0.01, length / 2));
  gain.gain.setValueAtTime(level, start + length - Math.min(0.01, length / 2));
  gain.gain.linearRampToValueAtTime(0, start + length);
  gain.connect(context.destination);
  const tone = context.createOscillator();
  tone.frequency.value = pitch;
  tone.connect(gain);
  tone.start(start);
  tone.stop(start + length);
  return tone;
}

export function play(context, name) {
  let start = context.currentTime + 0.02;
  for (const [pitch, length] of MELODIES[name] ?? []) {
    if (pitch > 0) note(context, pitch, start, length, 0.3);
    start += length;
  }
}

/** Soft ticks at `marks` seconds after an entry that is `age` seconds old; returns how to hush them. */
export function pace(context, marks, age) {
  const tones = marks.map((mark, i) => {
    const start = context.currentTime + mark - age;
    if (start < context.currentTime) return null;
    return note(context, i === marks.length - 1 ? LAST_TICK_HZ : TICK_HZ, start, 0.03, 0.05);
  });
  return () => {
    for (const tone of tones) {
      try {
        tone?.stop();
      } catch {
        continue;
      }
    }
  };
}
