// Runs beside the page: collects samples into frames and hands them over untouched.
const FRAME = 2048;

class Capture extends AudioWorkletProcessor {
  constructor() {
    super();
    this.samples = new Int16Array(FRAME);
    this.filled = 0;
    this.first = 0;
    this.peak = 0;
  }

  process(inputs) {
    const channels = inputs[0];
    if (channels.length === 0) return true;
    const count = channels[0].length;
    for (let i = 0; i < count; i++) {
      let sum = 0;
      for (const channel of channels) sum += channel[i];
      const value = Math.max(-1, Math.min(1, sum / channels.length));
      this.samples[this.filled++] = Math.round(value * 32767);
      this.peak = Math.max(this.peak, Math.abs(value));
      if (this.filled === FRAME) this.hand();
    }
    return true;
  }

  hand() {
    const { samples, first, peak } = this;
    this.port.postMessage({ pcm: samples.buffer, first, peak, at: Date.now() / 1000 }, [samples.buffer]);
    this.samples = new Int16Array(FRAME);
    this.first += FRAME;
    this.filled = 0;
    this.peak = 0;
  }
}

registerProcessor("capture", Capture);
