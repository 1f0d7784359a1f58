//! A simulated engine that a page hears in place of its microphone.
//!
//! A file cannot react to a screw, so the sound of [`Started`] is handed to the page block by block, as fast as the
//! page's own audio clock uses it up, and reaches the page's code as the stream that a microphone would give.
//! A voice for the browser is put beside it, which a browser without a screen lacks: what it says is noise in
//! the same stream, as a loudspeaker's sound is in a microphone's.

use base64::Engine as _;
use bellmouth_core::practice::Started;
use bellmouth_core::practice::voice::SAMPLE_RATE_HZ;
use serde_json::json;

use crate::Browser;

/// How far ahead of the page's clock the sound is made, seconds.
const AHEAD_S: f64 = 0.6;
/// A piece of sound, samples.
const PIECE: usize = 4_800;

/// Puts the stream and the voice into every page, before any script of the page's own.
const IN_THE_PAGE: &str = r#"
    window.engineSound = {
        queued_s: 0,
        start() {
            this.context = new AudioContext({ sampleRate: 48000 });
            this.stream = this.context.createMediaStreamDestination();
            this.queued_s = this.context.currentTime + 0.1;
            return this.stream.stream;
        },
        ahead() { return this.context ? this.queued_s - this.context.currentTime : null; },
        play(text) {
            const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
            const whole = new Int16Array(bytes.buffer);
            const sound = this.context.createBuffer(1, whole.length, 48000);
            sound.copyToChannel(Float32Array.from(whole, (value) => value / 32768), 0);
            this.queued_s = Math.max(this.queued_s, this.context.currentTime);
            this.put(sound, this.queued_s, 1);
            this.queued_s += sound.duration;
        },
        put(sound, at, level) {
            const source = new AudioBufferSourceNode(this.context, { buffer: sound });
            source.connect(new GainNode(this.context, { gain: level })).connect(this.stream);
            source.start(at);
        },
    };
    MediaDevices.prototype.getUserMedia = async () => engineSound.start();
    window.spoken = [];
    const voice = {
        getVoices: () => [{ name: "a voice" }],
        cancel() {},
        speak(utterance) {
            if (!utterance.text) return;
            spoken.push(utterance.text);
            const seconds = 0.045 * utterance.text.length;
            if (engineSound.context) {
                const sound = engineSound.context.createBuffer(1, 48000 * seconds, 48000);
                const samples = sound.getChannelData(0);
                for (let at = 0; at < samples.length; at += 1) {
                    // Syllables, four a second.
                    samples[at] = (2 * Math.random() - 1) * Math.max(0, Math.sin(at * 8 * Math.PI / 48000));
                }
                engineSound.put(sound, 0, 0.25);
            }
            setTimeout(() => utterance.onend?.(), 1000 * seconds);
        },
    };
    Object.defineProperty(window, "speechSynthesis", { value: voice });
"#;

/// An engine at a page's ear.
pub struct HeardEngine<'a> {
    browser: &'a Browser,
    engine: Started,
}

impl<'a> HeardEngine<'a> {
    /// Puts it beside a browser whose next page will hear it.
    pub async fn beside(browser: &'a Browser, engine: Started) -> HeardEngine<'a> {
        browser.before_every_page(IN_THE_PAGE).await;
        HeardEngine { browser, engine }
    }

    /// The engine, to turn its screw and its stop, and to blip it.
    pub fn engine(&mut self) -> &mut Started {
        &mut self.engine
    }

    /// Makes as much sound as the page has used up.
    pub async fn pass(&mut self) {
        let Some(mut ahead_s) = self.browser.run("return engineSound.ahead()").await.as_f64() else { return };
        while ahead_s < AHEAD_S {
            let mut piece = [0.0_f32; PIECE];
            self.engine.sound(&mut piece);
            let bytes: Vec<u8> =
                piece.iter().flat_map(|sample| ((32_767.0 * sample) as i16).to_le_bytes()).collect();
            let text = base64::engine::general_purpose::STANDARD.encode(bytes);
            self.browser.run(&format!("engineSound.play({})", json!(text))).await;
            ahead_s += PIECE as f64 / SAMPLE_RATE_HZ;
        }
    }

    /// Everything that the page has said.
    pub async fn spoken(&self) -> Vec<String> {
        let said = self.browser.run("return spoken").await;
        let said = said.as_array().cloned().unwrap_or_default();
        said.iter().filter_map(|words| words.as_str().map(String::from)).collect()
    }
}
