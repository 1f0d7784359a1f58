//! Recordings, decoded block by block.
//!
//! | file | coding |
//! |---|---|
//! | wav, aiff, caf | whole numbers of 8 to 32 bits, floats of 32 and 64, A-law, µ-law, some ADPCM |
//! | flac, mp3, aac | their own |
//! | ogg, opus | Vorbis, Opus, FLAC |
//! | webm, mkv | Opus, Vorbis, AAC, FLAC, as browsers record |
//! | m4a, mp4, mov, 3gp | AAC (its low-complexity core), ALAC, Opus, MP3, whole numbers and floats |
//!
//! What a coder puts before the sound is left out where the file tells how much, so that times are those of
//! the recording. Memory stays bounded however long it is. Whatever the decoder does with a broken file,
//! the answer is a refusal that names the file and the remedy.

mod boxes;
mod coder;

use std::fs::File;
use std::io::{ErrorKind, Read, Seek, SeekFrom};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::mpsc::sync_channel;

use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, TrackType};
use symphonia::core::io::{MediaSource, MediaSourceStream};
use symphonia::core::meta::MetadataOptions;

use crate::refusal::{Refusal, in_words};
use boxes::SoundTrack;
use coder::Coder;

/// Sample rates that can be listened to, hertz.
const SAMPLE_RATES_HZ: std::ops::RangeInclusive<u32> = 8_000..=192_000;

/// Blocks decoded ahead of the listener, and samples in each.
const BLOCKS_AHEAD: usize = 4;
const HANDED_OVER: usize = 32_768;

const READS: &str = "give a wav, flac, mp3, ogg, webm, m4a, mp4 or mov recording";

const CONVERT: &str = "convert it to wav or flac first";

/// Anything sound can be read from.
pub trait Source: Read + Seek + Send + Sync + 'static {}

impl<T: Read + Seek + Send + Sync + 'static> Source for T {}

/// A source with its length found once.
struct Measured {
    inner: Box<dyn Source>,
    length: u64,
}

impl Read for Measured {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        self.inner.read(buffer)
    }
}

impl Seek for Measured {
    fn seek(&mut self, to: SeekFrom) -> std::io::Result<u64> {
        self.inner.seek(to)
    }
}

impl MediaSource for Measured {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.length)
    }
}

/// A recording being decoded, mixed down to one channel.
pub struct Recording {
    name: String,
    format: Box<dyn FormatReader>,
    coder: Coder,
    track: u32,
    sample_rate_hz: u32,
    mono: Vec<f32>,
    part: Part,
    /// Whether `mono` holds the first block, decoded while opening.
    first: bool,
    samples: u64,
    damaged: u64,
    cut_short: bool,
    ended: bool,
}

/// The part of all decoded samples that is the recording.
struct Part {
    /// Samples still to leave out.
    before: u64,
    /// Samples still to give; none where only the end says so.
    left: Option<u64>,
}

impl Part {
    /// Leaves out of a block what is no part of the recording.
    fn keep(&mut self, block: &mut Vec<f32>) {
        let before = self.before.min(block.len() as u64);
        self.before -= before;
        block.drain(..before as usize);
        if let Some(left) = &mut self.left {
            block.truncate(usize::try_from(*left).unwrap_or(usize::MAX));
            *left -= block.len() as u64;
        }
    }
}

impl Recording {
    /// Opens a file.
    ///
    /// # Errors
    ///
    /// A [`Refusal`] where the file cannot be read, or holds no sound that can be decoded.
    pub fn open(path: &Path) -> Result<Recording, Refusal> {
        let name = path.display().to_string();
        let unreadable = |error: std::io::Error| {
            Refusal::unanswerable(
                format!("{name} cannot be read ({})", in_words(&error)),
                "check the name and whether the file may be read",
            )
        };
        let file = File::open(path).map_err(unreadable)?;
        if file.metadata().map_err(unreadable)?.is_dir() {
            return Err(Refusal::unanswerable(format!("{name} is a folder"), READS));
        }
        Recording::read(file, &name)
    }

    /// Reads a recording from anything, such as an upload; `name` is what messages call it, and its
    /// ending is a hint of the format.
    ///
    /// # Errors
    ///
    /// A [`Refusal`] where there is no sound that can be decoded.
    pub fn read(mut source: impl Source, name: &str) -> Result<Recording, Refusal> {
        let name = name.to_owned();
        let broken = |error: std::io::Error| {
            Refusal::unanswerable(
                format!("{name} cannot be read ({})", in_words(&error)),
                "copy the file again",
            )
        };
        let length = source.seek(SeekFrom::End(0)).map_err(broken)?;
        source.rewind().map_err(broken)?;
        if length == 0 {
            return Err(Refusal::unanswerable(
                format!("{name} is empty (0 bytes)"),
                "record or copy it again",
            ));
        }
        let mut head = Vec::new();
        source.by_ref().take(64).read_to_end(&mut head).map_err(broken)?;
        source.rewind().map_err(broken)?;
        let index = boxes::are_here(&head).then(|| boxes::sound_track(&mut source, length)).flatten();
        source.rewind().map_err(broken)?;
        let measured = Measured { inner: Box::new(source), length };
        let opened =
            catch_unwind(AssertUnwindSafe(|| Recording::probe(measured, &name, length, &head, index)));
        opened.unwrap_or_else(|_| Err(crashed(&name)))
    }

    fn probe(
        source: Measured,
        name: &str,
        length: u64,
        head: &[u8],
        index: Option<SoundTrack>,
    ) -> Result<Recording, Refusal> {
        if let Some(coding) = index.and_then(|track| unread(&track.coding)) {
            return Err(coded(name, coding));
        }
        let mut hint = Hint::new();
        if let Some(ending) = Path::new(name).extension().and_then(|ending| ending.to_str()) {
            hint.with_extension(ending);
        }
        let stream = MediaSourceStream::new(Box::new(source), Default::default());
        let format = symphonia::default::get_probe()
            .probe(&hint, stream, FormatOptions::default(), MetadataOptions::default())
            .map_err(|error| unrecognised(name, length, head, &error))?;
        let tracks = format.tracks().len();
        let no_sound = || {
            let others =
                if tracks == 0 { String::new() } else { format!(" (tracks of other kinds: {tracks})") };
            Refusal::unanswerable(
                format!("{name} holds no sound{others}"),
                "record with the microphone on, or give another file",
            )
        };
        let track = format.default_track(TrackType::Audio).ok_or_else(no_sound)?;
        let parameters =
            track.codec_params.as_ref().and_then(|parameters| parameters.audio()).ok_or_else(no_sound)?;
        if let Some(rate) = parameters.sample_rate {
            check_rate(name, rate)?;
        }
        let coder = Coder::new(parameters).ok_or_else(|| coded(name, &coder::words(parameters.codec)))?;
        let (track, sample_rate_hz) = (track.id, parameters.sample_rate.unwrap_or_default());
        let before = coder::opus_run_in(parameters).unwrap_or_default();
        let mut recording = Recording {
            name: name.to_owned(),
            format,
            coder,
            track,
            sample_rate_hz,
            mono: Vec::new(),
            part: Part { before, left: None },
            first: false,
            samples: 0,
            damaged: 0,
            cut_short: false,
            ended: false,
        };
        recording.decode()?;
        if let Some(index) = index
            && index.begins_s * f64::from(recording.sample_rate_hz) >= before as f64
        {
            // The index knows better than the coding; what was left out already is not left out again.
            let samples = |seconds: f64| (seconds * f64::from(recording.sample_rate_hz)).round() as u64;
            recording.part.before += samples(index.begins_s) - before;
            recording.part.left = index.lasts_s.map(samples);
            recording.part.keep(&mut recording.mono);
            if recording.mono.is_empty() {
                recording.decode()?;
            }
        }
        if recording.mono.is_empty() {
            let why = if recording.cut_short || recording.damaged > 0 {
                "is cut off or damaged"
            } else {
                "is empty"
            };
            return Err(Refusal::unanswerable(
                format!("the sound of {name} {why}: not one sample could be decoded of {length} bytes"),
                "record or copy it again",
            ));
        }
        recording.first = true;
        Ok(recording)
    }

    /// What messages call it.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Sample rate, hertz.
    pub fn sample_rate_hz(&self) -> f64 {
        f64::from(self.sample_rate_hz)
    }

    /// The next block of mono samples in −1 to 1; `None` at the end.
    ///
    /// # Errors
    ///
    /// A [`Refusal`] where the decoder fails of itself.
    pub fn next_block(&mut self) -> Result<Option<&[f32]>, Refusal> {
        if !std::mem::take(&mut self.first) {
            let decoded = catch_unwind(AssertUnwindSafe(|| self.decode()));
            decoded.unwrap_or_else(|_| Err(crashed(&self.name)))?;
        }
        self.samples += self.mono.len() as u64;
        Ok((!self.mono.is_empty()).then_some(&self.mono))
    }

    /// Decodes on a thread of its own, a little ahead, while `hear` is given block after block; ends when
    /// `hear` answers false, or with the recording.
    ///
    /// # Errors
    ///
    /// As [`Recording::next_block`]; blocks before the failure have been heard.
    pub fn each_block(&mut self, mut hear: impl FnMut(&[f32]) -> bool) -> Result<(), Refusal> {
        let name = self.name.clone();
        std::thread::scope(|scope| {
            let (send, blocks) = sync_channel::<Vec<f32>>(BLOCKS_AHEAD);
            let decoder = scope.spawn(move || {
                // Handing over costs a wake-up: small packets are gathered first.
                let mut gathered = Vec::with_capacity(2 * HANDED_OVER);
                while let Some(block) = self.next_block()? {
                    gathered.extend_from_slice(block);
                    if HANDED_OVER <= gathered.len() && send.send(std::mem::take(&mut gathered)).is_err() {
                        return Ok(());
                    }
                }
                // A listener that has hung up wants no rest.
                let _ = send.send(gathered);
                Ok(())
            });
            for block in &blocks {
                if !hear(&block) {
                    break;
                }
            }
            // Hanging up stops a decoder that is still ahead.
            drop(blocks);
            decoder.join().unwrap_or_else(|_| Err(crashed(&name)))
        })
    }

    /// Seconds given out so far.
    pub fn elapsed_s(&self) -> f64 {
        self.samples as f64 / self.sample_rate_hz()
    }

    /// Whether the recording broke off before its own end.
    pub fn cut_short(&self) -> bool {
        self.cut_short
    }

    /// Pieces that could not be decoded and are missing.
    pub fn damaged(&self) -> u64 {
        self.damaged
    }

    /// Decodes into `mono`; leaves it empty at the end.
    fn decode(&mut self) -> Result<(), Refusal> {
        self.mono.clear();
        while self.mono.is_empty() && !self.ended {
            let packet = match self.format.next_packet() {
                Ok(Some(packet)) => packet,
                Ok(None) | Err(Error::ResetRequired) => {
                    self.ended = true;
                    break;
                }
                Err(_) => {
                    (self.ended, self.cut_short) = (true, true);
                    break;
                }
            };
            if packet.track_id != self.track {
                continue;
            }
            let Some(rate) = self.coder.decode(&packet, &mut self.mono) else {
                self.mono.clear();
                self.damaged += 1;
                continue;
            };
            check_rate(&self.name, rate)?;
            if self.sample_rate_hz != rate {
                // Some coders state half their rate; the first decoded piece is what counts.
                if self.samples > 0 {
                    (self.ended, self.cut_short) = (true, true);
                    self.mono.clear();
                    break;
                }
                self.sample_rate_hz = rate;
            }
            self.part.keep(&mut self.mono);
            self.ended |= self.part.left == Some(0);
        }
        Ok(())
    }
}

fn check_rate(name: &str, rate_hz: u32) -> Result<(), Refusal> {
    if SAMPLE_RATES_HZ.contains(&rate_hz) {
        return Ok(());
    }
    Err(Refusal::unanswerable(
        format!("{name} says its sample rate is {rate_hz} Hz, but 8000 to 192000 Hz can be listened to"),
        "record again at 44100 or 48000 Hz",
    ))
}

/// Why a file was not recognised, as far as its first bytes tell.
fn unrecognised(name: &str, length: u64, head: &[u8], error: &Error) -> Refusal {
    if let Some(coding) = unread_file(head) {
        return coded(name, coding);
    }
    let sound = [&b"RIFF"[..], b"fLaC", b"OggS", b"ID3", b"FORM", b"caff", b"\x1A\x45\xDF\xA3"]
        .iter()
        .any(|start| head.starts_with(start))
        || head.get(4..8) == Some(b"ftyp");
    if sound {
        let early = matches!(error, Error::IoError(error) if error.kind() == ErrorKind::UnexpectedEof);
        let why = if early {
            "it ends too early"
        } else if error.to_string().contains("missing moov") {
            // The index is written last, when the recorder stops.
            "the index that a recorder writes at its end is missing"
        } else {
            "its parts do not fit together"
        };
        return Refusal::unanswerable(
            format!("{name} is cut off or damaged: {why}, after {length} bytes"),
            "record or copy it again to its end",
        );
    }
    let text = head.iter().all(|byte| (32..127).contains(byte) || b"\t\r\n".contains(byte) || *byte >= 128);
    let begins: String = String::from_utf8_lossy(head).chars().filter(|c| !c.is_control()).take(20).collect();
    let what = if text {
        format!("text (it begins “{begins}”)")
    } else {
        "in none of the formats read".to_owned()
    };
    Refusal::unanswerable(format!("{name} is no recording: it is {what}"), READS)
}

fn crashed(name: &str) -> Refusal {
    Refusal::unanswerable(
        format!("{name} is damaged in a way its decoder could not cope with"),
        "convert it to wav first, or record again",
    )
}

/// A coding that is known by name, and not read.
fn coded(name: &str, coding: &str) -> Refusal {
    if coding == PROTECTED {
        return Refusal::unanswerable(
            format!("the sound of {name} is {PROTECTED}, and cannot be decoded"),
            "record the engine yourself, or give an unprotected file",
        );
    }
    Refusal::unanswerable(format!("{name} holds sound as {coding}, which is not read"), CONVERT)
}

const PROTECTED: &str = "protected against copying";

/// What the four letters of an index stand for, where it is nothing that can be read.
fn unread(coding: &[u8; 4]) -> Option<&'static str> {
    Some(match coding {
        b"enca" | b"drms" => PROTECTED,
        b"samr" | b"sawb" | b"sawp" => "AMR (speech of old telephones)",
        b"ac-3" | b"ec-3" | b"ac-4" => "AC-3",
        b"Qclp" | b"sqcp" => "QCELP",
        b"apac" => "spatial audio",
        _ => return None,
    })
}

/// What a file that is not read begins like.
fn unread_file(head: &[u8]) -> Option<&'static str> {
    let begins = |with: &[u8]| head.starts_with(with);
    Some(match () {
        () if begins(b"#!AMR") => "AMR (speech of old telephones)",
        () if begins(b"\x30\x26\xB2\x75\x8E\x66\xCF\x11") => "Windows Media Audio",
        () if begins(b"RIFF") && head.get(8..12) == Some(b"AVI ") => "AVI, a video",
        () if begins(b"#!SILK") || begins(b"\x02#!SILK") => "SILK",
        () if begins(b"MThd") => "MIDI",
        () => return None,
    })
}
