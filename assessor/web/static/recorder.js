"use strict";
// The sound of the input as numbers, block by block, with the frame each begins at.
// Where the browser skipped frames, silence is put in so that time stays true, and the
// gap is told.
const MOST_SILENCE_S = 10;

class Recorder extends AudioWorkletProcessor {
  constructor() {
    super();
    this.size = Math.round(sampleRate / 10);
    this.block = new Float32Array(this.size);
    this.filled = 0;
    this.next = null;
    this.gaps = [];
    this.port.onmessage = () => this.send();
  }

  send() {
    if (!this.filled) return;
    const samples = this.block.slice(0, this.filled);
    const first = this.next - this.filled;
    this.port.postMessage({ first, samples, gaps: this.gaps }, [samples.buffer]);
    this.filled = 0;
    this.gaps = [];
  }

  put(value) {
    this.block[this.filled] = value;
    this.filled += 1;
    this.next += 1;
    if (this.filled === this.size) this.send();
  }

  process(inputs) {
    const channels = inputs[0];
    const frames = channels.length ? channels[0].length : 128;
    if (this.next === null) this.next = currentFrame;
    const lost = currentFrame - this.next;
    if (lost > 0) {
      this.gaps.push({ at: this.next, frames: lost });
      if (lost > MOST_SILENCE_S * sampleRate) this.next = currentFrame;
      while (this.next < currentFrame) this.put(0);
    }
    for (let k = 0; k < frames; k += 1) {
      let sum = 0;
      for (const channel of channels) sum += channel[k];
      this.put(channels.length ? sum / channels.length : 0);
    }
    return true;
  }
}

registerProcessor("recorder", Recorder);
