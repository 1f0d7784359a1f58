//! What the index of an mp4, mov, m4a or 3gp says of its sound beyond what the decoder is told: how it is
//! coded, whether it is protected, and which part of what is decoded is the recording.
//!
//! A coder needs a run-in, whose samples come out of the decoder first (*priming*, 1024 or 2112 samples of
//! AAC); the edit list says where the recording begins, and how long it is.

use std::io::{Read, Result, Seek, SeekFrom};

/// Boxes looked at before giving up: an index has some tens, a damaged one may have any number.
const MOST_BOXES: usize = 20_000;

/// The first sound track of an index.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct SoundTrack {
    /// Four letters that name the coding.
    pub(super) coding: [u8; 4],
    /// Decoded seconds before the recording begins.
    pub(super) begins_s: f64,
    /// Length of the recording, seconds; none where the index leaves it open.
    pub(super) lasts_s: Option<f64>,
}

/// What the boxes of one track have said so far.
#[derive(Default)]
struct Track {
    is_sound: bool,
    coding: [u8; 4],
    timescale: u32,
    /// Length in the movie's time, and start in the track's own, of each edit that shows something.
    edits: Vec<(u64, u64)>,
}

/// Whether a file that begins so is made of boxes.
pub(super) fn are_here(head: &[u8]) -> bool {
    let kinds = [&b"ftyp"[..], b"moov", b"mdat", b"wide", b"free", b"skip"];
    head.get(4..8).is_some_and(|kind| kinds.contains(&kind))
}

/// The first sound track that the index names; none where there is no index, or one past understanding.
pub(super) fn sound_track(source: &mut (impl Read + Seek), length: u64) -> Option<SoundTrack> {
    let mut walk = Walk { source, boxes: 0, movie_timescale: 0, track: None, found: None };
    // A broken index is the decoder's to complain of.
    let _ = walk.within(0, length, 0);
    let (found, movie) = (walk.found?, f64::from(walk.movie_timescale));
    let mut sound = SoundTrack { coding: found.coding, ..SoundTrack::default() };
    if let Some(&(duration, start)) = found.edits.first()
        && found.timescale > 0
    {
        sound.begins_s = start as f64 / f64::from(found.timescale);
        // Several edits skip between places: only the first is begun with, nothing is cut.
        let known = found.edits.len() == 1 && duration > 0 && movie > 0.0;
        sound.lasts_s = known.then(|| duration as f64 / movie);
    }
    Some(sound)
}

struct Walk<'a, S> {
    source: &'a mut S,
    boxes: usize,
    movie_timescale: u32,
    track: Option<Track>,
    found: Option<Track>,
}

impl<S: Read + Seek> Walk<'_, S> {
    /// Looks at every box from one place of the file to another.
    fn within(&mut self, from: u64, to: u64, depth: usize) -> Result<()> {
        let mut at = from;
        while at + 8 <= to && self.found.is_none() && self.boxes < MOST_BOXES {
            self.boxes += 1;
            self.source.seek(SeekFrom::Start(at))?;
            let (size, kind) = (u64::from(self.number()?), self.four()?);
            let (size, header) = match size {
                // Sizes of 64 bits follow the name; none means to the end.
                1 => ((u64::from(self.number()?) << 32) | u64::from(self.number()?), 16),
                0 => (to - at, 8),
                size => (size, 8),
            };
            if size < header {
                break;
            }
            let (body, end) = (at + header, at.saturating_add(size).min(to));
            self.look(kind, body, end, depth)?;
            at = end;
        }
        Ok(())
    }

    fn look(&mut self, kind: [u8; 4], body: u64, end: u64, depth: usize) -> Result<()> {
        match &kind {
            b"moov" | b"mdia" | b"minf" | b"stbl" | b"edts" if depth < 8 => {
                self.within(body, end, depth + 1)?;
            }
            b"trak" => {
                self.track = Some(Track::default());
                self.within(body, end, depth + 1)?;
                self.found = self.track.take().filter(|track| track.is_sound);
            }
            b"mvhd" => self.movie_timescale = self.timescale()?,
            b"mdhd" => {
                let timescale = self.timescale()?;
                self.note(|track| track.timescale = timescale);
            }
            b"hdlr" => {
                self.skip(8)?;
                let sound = &self.four()? == b"soun";
                // A mov has a second one, for where its data lies.
                self.note(|track| track.is_sound |= sound);
            }
            b"elst" => self.edits()?,
            b"stsd" => {
                self.skip(12)?;
                let coding = self.four()?;
                self.note(|track| track.coding = coding);
            }
            _ => {}
        }
        Ok(())
    }

    fn edits(&mut self) -> Result<()> {
        let long = self.number()? >> 24 == 1;
        let mut edits = Vec::new();
        for _ in 0..self.number()?.min(100) {
            let wide = |walk: &mut Self| -> Result<u64> {
                let high = if long { u64::from(walk.number()?) << 32 } else { 0 };
                Ok(high | u64::from(walk.number()?))
            };
            let (duration, start) = (wide(self)?, wide(self)?);
            self.skip(4)?;
            // A start of −1 shows nothing for a while: time before the sound, not part of it.
            if start != if long { u64::MAX } else { u64::from(u32::MAX) } {
                edits.push((duration, start));
            }
        }
        self.note(|track| track.edits = edits);
        Ok(())
    }

    /// Ticks a second, after two dates whose width the version says.
    fn timescale(&mut self) -> Result<u32> {
        let long = self.number()? >> 24 == 1;
        self.skip(if long { 16 } else { 8 })?;
        self.number()
    }

    fn note(&mut self, what: impl FnOnce(&mut Track)) {
        if let Some(track) = &mut self.track {
            what(track);
        }
    }

    fn skip(&mut self, bytes: i64) -> Result<()> {
        self.source.seek(SeekFrom::Current(bytes)).map(|_| ())
    }

    fn four(&mut self) -> Result<[u8; 4]> {
        let mut four = [0; 4];
        self.source.read_exact(&mut four)?;
        Ok(four)
    }

    fn number(&mut self) -> Result<u32> {
        self.four().map(u32::from_be_bytes)
    }
}
