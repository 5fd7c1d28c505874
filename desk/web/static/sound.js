// In the browser's sound thread: any sample rate in, pieces of 100 ms at 16,000 samples a second out.
// A windowed-sinc low-pass at 7.6 kHz, so that what cannot be kept does not fold back as noise.

const RATE = 16000, PIECE = 1600, LOBES = 12;

class Piecer extends AudioWorkletProcessor {
  constructor() {
    super();
    this.step = sampleRate / RATE;
    this.reach = Math.ceil(LOBES * Math.max(this.step, 1));
    this.held = new Float32Array(0);
    this.next = this.reach; // place of the next sample out, in samples of `held`
    this.piece = new Int16Array(PIECE);
    this.filled = 0;
    this.port.onmessage = () => this.flush();
  }

  process(inputs) {
    const channels = inputs[0];
    if (!channels.length) return true;
    const sound = new Float32Array(this.held.length + channels[0].length);
    sound.set(this.held);
    for (let i = 0; i < channels[0].length; i++) {
      let sum = 0;
      for (const channel of channels) sum += channel[i];
      sound[this.held.length + i] = sum / channels.length;
    }
    while (this.next + this.reach < sound.length) {
      this.put(this.step === 1 ? sound[Math.round(this.next)] : this.at(sound, this.next));
      this.next += this.step;
    }
    const gone = Math.max(Math.floor(this.next) - this.reach, 0);
    this.held = sound.slice(gone);
    this.next -= gone;
    return true;
  }

  at(sound, place) {
    const cut = Math.min(1, 0.95 / this.step), first = Math.ceil(place - this.reach), last = Math.floor(place + this.reach);
    let sum = 0, weight = 0;
    for (let i = first; i <= last; i++) {
      const x = i - place, sinc = x === 0 ? cut : Math.sin(Math.PI * cut * x) / (Math.PI * x);
      const w = sinc * (0.5 + 0.5 * Math.cos(Math.PI * x / (this.reach + 1)));
      sum += sound[i] * w;
      weight += w;
    }
    return sum / weight;
  }

  put(value) {
    this.piece[this.filled++] = Math.max(-32768, Math.min(32767, Math.round(value * 32767)));
    if (this.filled === PIECE) this.flush();
  }

  flush() {
    if (!this.filled) return;
    const piece = this.piece.slice(0, this.filled);
    this.filled = 0;
    this.port.postMessage(piece.buffer, [piece.buffer]);
  }
}

registerProcessor("piecer", Piecer);
