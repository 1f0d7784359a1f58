//! From packets to samples of one channel, whichever library decodes them.

use opus_pure::{MAX_PACKET_SAMPLES, OpusDecoder};
use symphonia::core::codecs::audio::well_known::{CODEC_ID_MP3, CODEC_ID_OPUS, CODEC_ID_VORBIS};
use symphonia::core::codecs::audio::{AudioCodecId, AudioCodecParameters, AudioDecoder, AudioDecoderOptions};
use symphonia::core::packet::Packet;

/// Samples a second of decoded Opus, whatever it was made from.
const OPUS_HZ: u32 = 48_000;

/// Gain in the head of an Opus stream, in 1/256 dB, that is still believed: ±24 dB.
const MOST_GAIN: i16 = 24 * 256;

/// A decoder of one coding.
pub(super) enum Coder {
    Opus(Box<Opus>),
    Other { decoder: Box<dyn AudioDecoder>, interleaved: Vec<f32>, trims: bool },
}

pub(super) struct Opus {
    decoder: OpusDecoder,
    gain: f32,
    samples: Vec<f32>,
}

impl Coder {
    /// The decoder for these parameters; none where the coding is not read.
    pub(super) fn new(parameters: &AudioCodecParameters) -> Option<Coder> {
        if parameters.codec == CODEC_ID_OPUS {
            // One channel is all that is heard: two are mixed while decoding, more are not read.
            let channels = parameters.channels.as_ref().map_or(1, |channels| channels.count());
            let decoder = OpusDecoder::new(OPUS_HZ as i32, 1).ok().filter(|_| channels <= 2)?;
            let head = parameters.extra_data.as_deref().unwrap_or_default();
            let gain = f32::from((head_number(head, 16) as i16).clamp(-MOST_GAIN, MOST_GAIN));
            return Some(Coder::Opus(Box::new(Opus {
                decoder,
                gain: 10_f32.powf(gain / 256.0 / 20.0),
                samples: vec![0.0; MAX_PACKET_SAMPLES],
            })));
        }
        let decoder = symphonia::default::get_codecs()
            .make_audio_decoder(parameters, &AudioDecoderOptions::default())
            .ok()?;
        // These two leave out by themselves what the packet says does not count.
        let trims = matches!(parameters.codec, CODEC_ID_MP3 | CODEC_ID_VORBIS);
        Some(Coder::Other { decoder, interleaved: Vec::new(), trims })
    }

    /// Adds a packet's samples, channels averaged, and gives their rate, hertz; none where the packet is damaged.
    pub(super) fn decode(&mut self, packet: &Packet, mono: &mut Vec<f32>) -> Option<u32> {
        let from = mono.len();
        let (rate_hz, trims) = match self {
            Coder::Opus(opus) => {
                let Opus { decoder, gain, samples } = &mut **opus;
                let count = decoder.decode(&packet.data, MAX_PACKET_SAMPLES, samples).ok()?;
                mono.extend(samples[..count].iter().map(|x| x * *gain));
                (OPUS_HZ, false)
            }
            Coder::Other { decoder, interleaved, trims } => {
                let decoded = decoder.decode(packet).ok()?;
                let channels = decoded.num_planes().max(1);
                decoded.copy_to_vec_interleaved(interleaved);
                let share = 1.0 / channels as f32;
                mono.extend(
                    interleaved.chunks_exact(channels).map(|frame| frame.iter().sum::<f32>() * share),
                );
                (decoded.spec().rate(), *trims)
            }
        };
        if !trims {
            let got = mono.len() - from;
            let end = got.min(packet.trim_end.get() as usize);
            mono.truncate(from + got - end);
            mono.drain(from..from + (got - end).min(packet.trim_start.get() as usize));
        }
        Some(rate_hz)
    }
}

/// Samples that an Opus stream says come before the recording, at 48 kHz; none for other codings.
pub(super) fn opus_run_in(parameters: &AudioCodecParameters) -> Option<u64> {
    let head = parameters.extra_data.as_deref().unwrap_or_default();
    (parameters.codec == CODEC_ID_OPUS).then(|| u64::from(head_number(head, 10)))
}

/// A number in the head of an Opus stream, which is written the other way round in an mp4 (version 0).
fn head_number(head: &[u8], at: usize) -> u16 {
    let two = head.get(at..at + 2).map_or([0; 2], |two| [two[0], two[1]]);
    if head.get(8) == Some(&0) { u16::from_be_bytes(two) } else { u16::from_le_bytes(two) }
}

/// What a coding is called, where it has a name.
pub(super) fn words(id: AudioCodecId) -> String {
    use symphonia::core::codecs::audio::well_known::{
        CODEC_ID_AC3, CODEC_ID_EAC3, CODEC_ID_SPEEX, CODEC_ID_WMA,
    };
    match id {
        CODEC_ID_OPUS => "Opus of more than two channels".to_owned(),
        CODEC_ID_SPEEX => "Speex".to_owned(),
        CODEC_ID_WMA => "Windows Media Audio".to_owned(),
        CODEC_ID_AC3 | CODEC_ID_EAC3 => "AC-3".to_owned(),
        other => format!("coding {other}"),
    }
}
