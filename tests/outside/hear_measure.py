"""Measures `endpin hear` on many takes: run by hand, about half an hour.

    python hear_measure.py ENDPIN FOLDER [--split measure] [--takes 32] [--only CONDITION]… [--baseline]

Makes the takes in FOLDER (kept for the next run) and prints, by condition, font and tempo: F with the key right
and 50 ms, precision, recall; how far onsets are from note-ons, and from where the font's own sound begins;
certainty against truth; speed and memory. `--baseline` adds librosa's pyin and onset detection on the same
takes (pip install librosa; it is slow). Needs fluidsynth, sox, ffmpeg and the Debian packages named in
hear_takes.FONTS.
"""

import argparse
import collections
import functools
import os
import resource
import subprocess
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor

import hear_takes
import mido
import numpy
from hear_score import Score, heard, known, score


@functools.cache
def latency(font, program):
    """Seconds from a note-on to a tenth of the loudness that a note reaches in its first 150 ms, the median
    over the keys of a bass."""
    found = []
    with tempfile.TemporaryDirectory() as folder:
        track = mido.MidiTrack(
            [mido.Message("program_change", channel=0, program=hear_takes.PROGRAMS[program])]
        )
        keys = range(28, 56, 3)
        for key in keys:
            track.append(mido.Message("note_on", note=key, velocity=95, time=960))
            track.append(mido.Message("note_off", note=key, time=480))
        midi = mido.MidiFile(ticks_per_beat=480)  # 120 a minute: 960 ticks are a second
        midi.tracks.append(track)
        midi.save(f"{folder}/keys.mid")
        samples = hear_takes.play(f"{folder}/keys.mid", font)
    for number in range(len(keys)):
        at = int((1.0 + 1.5 * number) * hear_takes.RATE)
        loud = numpy.abs(samples[at : at + int(0.15 * hear_takes.RATE)])
        found.append(numpy.argmax(loud > 0.1 * loud.max()) / hear_takes.RATE)
    return float(numpy.median(found))


def baseline(sound):
    """Notes by a common pipeline: onsets by librosa, the median pitch of pyin between them."""
    import librosa

    samples, rate = librosa.load(sound, sr=22050)
    begins = librosa.onset.onset_detect(y=samples, sr=rate, units="time", backtrack=False)
    pitch, voiced, _ = librosa.pyin(samples, fmin=30.0, fmax=400.0, sr=rate, frame_length=4096)
    times = librosa.times_like(pitch, sr=rate)
    rows = []
    for begin, end in zip(begins, [*begins[1:], len(samples) / rate]):
        inside = (times >= begin + 0.02) & (times < end) & voiced
        if inside.sum() >= 2:
            key = 69 + 12 * numpy.log2(numpy.median(pitch[inside]) / 440)
            rows.append((float(begin), int(round(key)), 1.0))
    return rows


def table(title, scores):
    print(f"\n{title:18}      F      P      R  notes  off ms  95 %  sound off ms")
    for name in sorted(scores, key=str):
        s, after = scores[name]
        off = 1000 * numpy.abs(s.errors)
        print(
            f"{name!s:18} {s.f:6.3f} {s.right / max(1, s.heard):6.3f} {s.right / max(1, s.played):6.3f}"
            f" {s.played:6d} {numpy.median(off):7.1f} {numpy.percentile(off, 95):5.1f}"
            f" {1000 * numpy.median(numpy.abs(after)):13.1f}"
        )


def main():
    words = argparse.ArgumentParser()
    words.add_argument("endpin")
    words.add_argument("folder")
    words.add_argument("--split", default="measure")
    words.add_argument("--takes", type=int, default=32)  # four fonts at eight tempi
    words.add_argument("--only", action="append")
    words.add_argument("--baseline", action="store_true")
    words = words.parse_args()
    takes = hear_takes.made(words.split, words.takes, words.folder, words.endpin, only=words.only)
    by = {what: collections.defaultdict(lambda: (Score(), [])) for what in ("condition", "font", "tempo")}
    whole, tunings, other = Score(), [], collections.defaultdict(Score)
    with ThreadPoolExecutor(2) as pool:
        reports = list(pool.map(lambda job: heard(words.endpin, job[2]), takes))
    for (condition, take, sound), report in zip(takes, reports):
        notes = known(sound)
        rows = [(n["onset_s"], n["midi"], n["certainty"]) for n in report["notes"]]
        whole.add(notes, rows)
        tunings.append(abs(1200 * numpy.log2(report["tuning_hz"] / 440) - take.cents))
        for what, name in (("condition", condition), ("font", f"{take.font} {take.program}"), ("tempo", take.tempo)):
            into, after = by[what][name]
            before = len(into.errors)
            into.add(notes, rows)
            after += [error - latency(take.font, take.program) for error in into.errors[before:]]
        if words.baseline:
            other[condition].add(notes, baseline(sound))
    for what, scores in by.items():
        table(what, scores)
    if words.baseline:
        print("\nlibrosa             F  off ms")
        for name in sorted(other):
            print(f"{name:16} {other[name].f:5.3f} {other[name].off:7.1f}")
    print("\nnote-on to sound, ms:", {
        f"{font} {program}": round(1000 * latency(font, program))
        for font in hear_takes.FONTS for program in hear_takes.PROGRAMS
    })  # fmt: skip
    print(f"tuning off by {numpy.median(tunings):.1f} cents in the middle, {max(tunings):.1f} at most")
    print("\ncertainty  notes  right")
    for low in (0.0, 0.25, 0.5, 0.7, 0.85, 0.95):
        high = {0.0: 0.25, 0.25: 0.5, 0.5: 0.7, 0.7: 0.85, 0.85: 0.95}.get(low, 1.01)
        some = [right for sure, right in whole.sure if low <= sure < high]
        print(f"{low:.2f}-{min(high, 1):.2f} {len(some):6d} {numpy.mean(some) if some else float('nan'):6.3f}")
    speed(words.endpin, takes[0][2], words.folder)


def speed(endpin, sound, folder):
    """An hour of sound: the take again and again."""
    hour = f"{folder}/hour.wav"
    if not os.path.exists(hour):
        hear_takes.run("ffmpeg", "-y", "-loglevel", "error", "-stream_loop", "-1", "-i", sound, "-t", "3600", hour)
    began = time.monotonic()
    subprocess.run([endpin, "hear", hour, "--json"], stdout=subprocess.DEVNULL, check=True)
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    # The largest child may have been another: the hour is far larger than any of them.
    print(
        f"\nan hour: {time.monotonic() - began:.0f} s by the clock, peak memory at most {used.ru_maxrss / 1024:.0f} MB"
    )


if __name__ == "__main__":
    main()
