// The page's voice: words where the browser has a voice, a tone for each kind of word where it has none.
// It tells when it begins and when it has ended, because the microphone hears it too.

const TONES = { out: [523, 784], in: [784, 523], done: [523, 659, 784], word: [659] };
const TONE_S = 0.16;

export class Speaker {
  // `on` has: context() of the microphone, speaking(whether)
  constructor(on) { this.on = on; this.turn = 0; }

  // Says words, or their tone, or with `aloud` false nothing at all; then tells that it has ended.
  async say(words, tone, aloud) {
    this.turn += 1;
    const mine = this.turn;
    globalThis.speechSynthesis?.cancel();
    this.on.speaking(true);
    if (aloud) {
      if (globalThis.speechSynthesis?.getVoices().length) await this.utter(words);
      else await this.sound(TONES[tone] ?? TONES.word);
    }
    if (mine === this.turn) this.on.speaking(false);
  }

  // Some browsers only speak once a finger has asked them to.
  unlock() { if (globalThis.speechSynthesis) speechSynthesis.speak(new SpeechSynthesisUtterance("")); }

  utter(words) {
    return new Promise((ended) => {
      const utterance = new SpeechSynthesisUtterance(words);
      utterance.onend = utterance.onerror = ended;
      speechSynthesis.speak(utterance);
      // Some browsers never tell that they have ended.
      setTimeout(ended, 3000 + 120 * words.length);
    });
  }

  async sound(tones) {
    for (const [index, hertz] of tones.entries()) setTimeout(() => this.chime(hertz, TONE_S), 1000 * TONE_S * index);
    await new Promise((ended) => setTimeout(ended, 1000 * TONE_S * (tones.length + 1)));
  }

  chime(hertz, seconds) {
    const context = this.on.context();
    if (!context) return;
    const tone = new OscillatorNode(context, { frequency: hertz }), level = new GainNode(context, { gain: 0.2 });
    tone.connect(level).connect(context.destination);
    tone.start();
    tone.stop(context.currentTime + seconds);
  }
}
