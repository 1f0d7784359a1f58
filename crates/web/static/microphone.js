// The microphone: asks for it, watches over it, hands on samples as 16-bit whole numbers.
// Every way it can fail is a name; the words for each stand in the page.

export class MicrophoneFailure extends Error {
  constructor(name) { super(name); this.failure = name; }
}

const FAILURES = {
  NotAllowedError: "refused", SecurityError: "refused",
  NotFoundError: "none", OverconstrainedError: "none",
  NotReadableError: "busy", AbortError: "busy",
};

export class Microphone {
  // `on` has: samples(Int16Array), trouble(name), recovered(name), ended()
  constructor(on) { this.on = on; this.silentBlocks = 0; this.troubles = new Set(); }

  async start(deviceId) {
    if (!window.isSecureContext || !navigator.mediaDevices?.getUserMedia) throw new MicrophoneFailure("insecure");
    const wanted = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
    if (deviceId) wanted.deviceId = { exact: deviceId };
    try {
      this.stream = await navigator.mediaDevices.getUserMedia({ audio: wanted });
    } catch (error) {
      throw new MicrophoneFailure(FAILURES[error.name] ?? "busy");
    }
    const track = this.stream.getAudioTracks()[0];
    if (!track) throw new MicrophoneFailure("none");
    this.settings = track.getSettings();
    track.addEventListener("ended", () => { this.stop(); this.on.ended(); });
    track.addEventListener("mute", () => this.trouble("muted"));
    track.addEventListener("unmute", () => this.recover("muted"));
    if (track.muted) this.trouble("muted");
    if (this.settings.echoCancellation || this.settings.noiseSuppression || this.settings.autoGainControl) this.trouble("processed");
    this.context = new AudioContext();
    await this.context.resume();
    // A headset in its telephone mode gives 8 or 16 kHz: too little of an engine is left.
    if ((this.settings.sampleRate ?? this.context.sampleRate) <= 16000) this.trouble("telephone");
    await this.context.audioWorklet.addModule("/assets/listen-worklet.js");
    const node = new AudioWorkletNode(this.context, "gatherer", {
      numberOfOutputs: 0, channelCount: 1, channelCountMode: "explicit",
    });
    node.port.onmessage = (message) => this.take(message.data);
    this.context.createMediaStreamSource(this.stream).connect(node);
    return this.context.sampleRate;
  }

  take(block) {
    // A block may still be on its way when the microphone was switched off.
    if (!this.context) return;
    const whole = new Int16Array(block.length);
    let peak = 0;
    for (let index = 0; index < block.length; index += 1) {
      const value = Math.max(-1, Math.min(1, block[index]));
      peak = Math.max(peak, Math.abs(value));
      whole[index] = Math.round(value * 32767);
    }
    // Exact zeros for two seconds: a muted switch or a dead cable, not a quiet garage.
    this.silentBlocks = peak === 0 ? this.silentBlocks + 1 : 0;
    if (this.silentBlocks * block.length > 2 * this.context.sampleRate) this.trouble("muted");
    else if (peak > 0) this.recover("muted");
    this.on.samples(whole);
  }

  trouble(name) { if (!this.troubles.has(name)) { this.troubles.add(name); this.on.trouble(name); } }
  recover(name) { if (this.troubles.delete(name)) this.on.recovered(name); }

  stop() {
    this.stream?.getTracks().forEach((track) => track.stop());
    this.context?.close();
    this.stream = this.context = undefined;
  }
}
