"""General pitch trackers on engine sounds: `trackers.py FOLDER`.

FOLDER holds `clips.tsv` (number, firings per cycle, cycle in crank degrees, lowest and highest rpm to look for)
and a wav file of each number. Written to it: `answers.bin`, and to standard output one line for each piece of it:
number, tool, input, target, how many values, processor seconds. A piece is that many times (s), then speeds
(rpm, not a number where the tool is silent), 64-bit little-endian floats.

Every tool hears the sound itself at 4 kHz ("raw") and the square root of its rectified 300 to 7000 Hz band at
1 kHz ("envelope"). Cycles of an engine are slower than any voice, so the sound is handed over as if it ran faster,
by whichever whole factor brings the range to the middle of what such tools are made for.
"""
import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS"):
    os.environ[name] = "1"
import multiprocessing
import sys
import time
import warnings
import wave

import numpy as np
import scipy.signal as signal

warnings.filterwarnings("ignore")
STEP_S = 0.025
RAW_HZ, ENVELOPE_HZ = 4000, 1000


def silent_where_zero(hz):
    hz = np.asarray(hz, float).copy()
    hz[hz <= 0] = np.nan
    return hz


def frame_length(rate, low):
    """Three and a half of the longest periods, to the next power of two."""
    return 1 << int(np.ceil(np.log2(3.6 * rate / low)))


def yin(x, rate, low, high, faster):
    import librosa

    hop = int(rate * STEP_S)
    hz = librosa.yin(x, fmin=low, fmax=min(high, 0.45 * rate), sr=rate, frame_length=frame_length(rate, low), hop_length=hop)
    return np.arange(hz.size) * hop / rate, hz


def pyin(x, rate, low, high, faster):
    import librosa

    hop = int(rate * STEP_S)
    hz, _, _ = librosa.pyin(
        x, fmin=low, fmax=min(high, 0.45 * rate), sr=rate, frame_length=frame_length(rate, low), hop_length=hop, fill_na=None
    )
    return np.arange(hz.size) * hop / rate, hz


def praat(x, rate, low, high, faster):
    import parselmouth

    pitch = parselmouth.Sound(x, sampling_frequency=rate).to_pitch_ac(
        time_step=STEP_S, pitch_floor=low, pitch_ceiling=high, silence_threshold=0.0, voicing_threshold=0.0
    )
    return pitch.xs(), silent_where_zero(pitch.selected_array["frequency"])


def harvest(x, rate, low, high, faster):
    import pyworld

    hz, t = pyworld.harvest(
        x, rate * faster, f0_floor=low * faster, f0_ceil=high * faster, frame_period=1000 * STEP_S / faster
    )
    return t * faster, silent_where_zero(hz) / faster


def swipe(x, rate, low, high, faster):
    import pysptk

    hop = int(rate * STEP_S)
    hz = pysptk.swipe(x * 20000, rate * faster, hop, min=low * faster, max=high * faster, threshold=0.0, otype="f0")
    return np.arange(len(hz)) * hop / rate, silent_where_zero(hz) / faster


def aubio_by(method):
    def run(x, rate, low, high, faster):
        import aubio

        hop, size = int(rate * STEP_S), frame_length(rate, low)
        pitch = aubio.pitch(method, size, hop, rate * faster)
        pitch.set_unit("Hz")
        pitch.set_silence(-200)
        padded = np.concatenate([x, np.zeros(size)]).astype(np.float32)
        count = padded.size // hop
        hz = np.array([pitch(padded[i * hop : (i + 1) * hop])[0] for i in range(count)], float) / faster
        hz[(hz < 0.97 * low) | (hz > 1.03 * high)] = np.nan
        return (np.arange(count) * hop + hop - size / 2) / rate, hz

    return run


network = []


def swift(x, rate, low, high, faster):
    from swift_f0 import SwiftF0

    if not network:
        network.append(SwiftF0(threads=1))
    # Its range begins near 47 Hz.
    faster = 50.0 / low
    y = signal.resample_poly(x, 16000, int(round(rate * faster))).astype(np.float32)
    found = network[0].detect(y, 16000, fmin=max(46.875, low * faster), fmax=min(2093.75, high * faster))
    return np.asarray(found.timestamps, float) * faster, np.asarray(found.pitch_hz, float) / faster


TOOLS = {
    "swift-f0": swift,
    "pysptk swipe": swipe,
    "librosa yin": yin,
    "librosa pyin": pyin,
    "praat autocorrelation": praat,
    "world harvest": harvest,
    "aubio yinfft": aubio_by("yinfft"),
    "aubio mcomb": aubio_by("mcomb"),
}


def inputs(path):
    with wave.open(path) as file:
        rate = file.getframerate()
        x = np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32768.0
    raw = signal.resample_poly(x, RAW_HZ, rate)
    band = signal.butter(2, [300, min(7000, 0.45 * rate)], "band", fs=rate, output="sos")
    envelope = signal.resample_poly(np.abs(signal.sosfilt(band, x)), ENVELOPE_HZ, rate)
    slow = signal.butter(1, 2.5, "high", fs=ENVELOPE_HZ, output="sos")
    envelope = signal.sosfiltfilt(slow, np.sqrt(np.maximum(envelope, 0)))
    return {
        "raw": (raw / (np.abs(raw).max() + 1e-9), RAW_HZ),
        "envelope": (envelope / (np.abs(envelope).max() + 1e-9), ENVELOPE_HZ),
    }


def hear(job):
    folder, number, firings, cycle_deg, low_rpm, high_rpm = job
    heard = []
    for source, (x, rate) in inputs(f"{folder}/{number}.wav").items():
        for target in ["cycle"] + (["firing"] if firings > 1 else []):
            hz_per_rpm = 6.0 / cycle_deg * (firings if target == "firing" else 1)
            low, high = low_rpm * hz_per_rpm, high_rpm * hz_per_rpm
            faster = int(round(250.0 / np.sqrt(low * high)))
            for tool, run in TOOLS.items():
                began = time.process_time()
                try:
                    t, hz = run(x.copy(), rate, low, high, max(1, faster))
                except Exception as error:
                    print(f"{tool}, {source}, {target}: {error!r}"[:200], file=sys.stderr)
                    t, hz = np.zeros(1), np.full(1, np.nan)
                took = time.process_time() - began
                n = min(len(t), len(hz))
                heard.append((number, tool, source, target, took, np.asarray(t[:n], "<f8"), np.asarray(hz[:n] / hz_per_rpm, "<f8")))
    return heard


def main():
    folder = sys.argv[1]
    with open(f"{folder}/clips.tsv") as file:
        jobs = [line.split() for line in file]
    jobs = [(folder, int(n), int(firings), float(cycle), float(low), float(high)) for n, firings, cycle, low, high in jobs]
    with multiprocessing.Pool(os.cpu_count()) as pool, open(f"{folder}/answers.bin", "wb") as answers:
        for heard in pool.imap(hear, jobs):
            for number, tool, source, target, took, t, rpm in heard:
                answers.write(t.tobytes() + rpm.tobytes())
                print(number, tool, source, target, t.size, f"{took:.6f}", sep="\t")


if __name__ == "__main__":
    main()
