// Blocks of the microphone, mono, as they come; runs beside the page's own thread.
class Blocks extends AudioWorkletProcessor {
  constructor() { super(); this.kept = new Float32Array(960); this.count = 0; }
  process(inputs) {
    const input = inputs[0];
    if (!input || !input.length) return true;
    for (let i = 0; i < input[0].length; i++) {
      let sum = 0;
      for (const channel of input) sum += channel[i];
      this.kept[this.count++] = sum / input.length;
      if (this.count === this.kept.length) {
        const block = this.kept.slice();
        this.port.postMessage(block, [block.buffer]);
        this.count = 0;
      }
    }
    return true;
  }
}
registerProcessor("blocks", Blocks);
