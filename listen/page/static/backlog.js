// Frames that the computer has not got yet: some seconds of them, the oldest first.
const MOST_S = 10;
const HEADER = 24;

export class Backlog {
  constructor(rate) {
    this.rate = rate;
    this.frames = [];
    this.sequence = 0;
    this.base = 0;
    this.lost = 0;
  }

  /** Add a frame; returns it packed with its header, as the computer reads it. */
  add({ pcm, first: counted, at }) {
    const first = counted - this.base;
    const count = pcm.byteLength / 2;
    const data = new ArrayBuffer(HEADER + pcm.byteLength);
    const view = new DataView(data);
    view.setUint32(0, this.sequence++, true);
    view.setUint32(4, count, true);
    view.setFloat64(8, first, true);
    view.setFloat64(16, at, true);
    new Uint8Array(data, HEADER).set(new Uint8Array(pcm));
    const frame = { first, count, data };
    this.frames.push(frame);
    while (this.frames.length * count > MOST_S * this.rate) {
      this.frames.shift();
      this.lost += count;
    }
    return frame;
  }

  /** Forget what the computer has: everything before `expect`. */
  arrived(expect) {
    while (this.frames.length && this.frames[0].first + this.frames[0].count <= expect)
      this.frames.shift();
  }

  /** Count from the oldest frame on: the computer has begun a new take. */
  rebase() {
    const by = this.frames[0]?.first ?? 0;
    this.base += by;
    for (const frame of this.frames) {
      frame.first -= by;
      new DataView(frame.data).setFloat64(8, frame.first, true);
    }
  }

  /** Seconds of sound that were dropped because the link was down too long. */
  get lostSeconds() {
    return this.lost / this.rate;
  }
}
