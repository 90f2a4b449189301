"use strict";
/* A microphone as frames of 512 samples of 16 bits. The context runs at the rate asked for, so the
   browser has resampled already. */
class Mic extends AudioWorkletProcessor {
  constructor(options) {
    super();
    this.frame = new Int16Array(512);
    this.filled = 0;
  }

  process(inputs) {
    const sound = inputs[0][0];
    if (!sound) return true;
    for (const value of sound) {
      this.frame[this.filled++] = Math.max(-1, Math.min(1, value)) * 32767;
      if (this.filled === 512) {
        this.port.postMessage(this.frame.buffer, [this.frame.buffer]);
        this.frame = new Int16Array(512);
        this.filled = 0;
      }
    }
    return true;
  }
}
registerProcessor("mic", Mic);
