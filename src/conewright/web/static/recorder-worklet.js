// Hands on what the microphone gives, as it is, in pieces of an eighth of a second or so.
const PIECE = 6144;

class Tap extends AudioWorkletProcessor {
  constructor() {
    super();
    this.start();
  }

  start() {
    this.filled = 0;
    this.channels = null;
  }

  process(inputs) {
    const input = inputs[0];
    if (!input.length) return true;
    if (!this.channels || this.channels.length !== input.length) {
      this.channels = input.map(() => new Float32Array(PIECE));
      this.filled = 0;
    }
    input.forEach((samples, i) => this.channels[i].set(samples, this.filled));
    this.filled += input[0].length;
    if (this.filled + input[0].length > PIECE) {
      const piece = this.channels.map((each) => each.slice(0, this.filled));
      this.port.postMessage(piece, piece.map((each) => each.buffer));
      this.start();
    }
    return true;
  }
}

registerProcessor("tap", Tap);
