// Runs on the audio thread: gathers samples and hands them on in blocks of 2048.
class Gatherer extends AudioWorkletProcessor {
  constructor() {
    super();
    this.block = new Float32Array(2048);
    this.filled = 0;
  }

  process(inputs) {
    const channel = inputs[0][0];
    if (!channel) return true;
    for (let from = 0; from < channel.length; ) {
      const room = Math.min(channel.length - from, this.block.length - this.filled);
      this.block.set(channel.subarray(from, from + room), this.filled);
      this.filled += room;
      from += room;
      if (this.filled === this.block.length) {
        this.port.postMessage(this.block.slice());
        this.filled = 0;
      }
    }
    return true;
  }
}

registerProcessor("gatherer", Gatherer);
