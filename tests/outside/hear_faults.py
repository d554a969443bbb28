"""Mistakes planted in sound: are they found as in MIDI? By hand: `python hear_faults.py ENDPIN FOLDER [TAKES]`.

Lines of `endpin write` get a wrong note here and there, are played by fluidsynth and put through a phone. What
`endpin check` calls wrong in the MIDI file is what has to be called wrong in the recording, note for note.
"""

import json
import random
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import hear_takes
import mido

EVERY = 9  # notes, on average, from one mistake to the next


def checked(endpin, chart, take):
    done = subprocess.run([endpin, "check", chart, take, "--json"], capture_output=True, check=True, timeout=600)
    return json.loads(done.stdout)


def with_mistakes(path, seed):
    """Moves a note now and then by a half step, and saves the file."""
    draw, midi = random.Random(seed), mido.MidiFile(path)
    moved = {}
    for track in midi.tracks:
        for message in track:
            if message.type == "note_on" and message.velocity and message.channel == 0:
                moved[message.note] = draw.choice([-1, 1]) if draw.random() < 1 / EVERY else 0
            if message.type in ("note_on", "note_off") and message.channel == 0:
                message.note += moved.get(message.note, 0)
    midi.save(path)


def wrong(report):
    return {
        (note["chorus"], note["bar"], note["beat"])
        for note in report["notes"] if note["grade"] == "wrong"
    }


def one(endpin, folder, take):
    """Mistakes that are in the MIDI file, in the recording, and in both."""
    chart = hear_takes.SCENARIOS / f"{take.chart}.toml"
    midi, sound = Path(folder) / f"{take.name}-faults.mid", Path(folder) / f"{take.name}-faults.wav"
    hear_takes.write_midi(take, endpin, midi, "comp", "time")
    with_mistakes(midi, take.seed)
    samples = hear_takes.play(midi, take.font)
    samples = hear_takes.through_a_phone(samples, take.seed)
    hear_takes.save(sound, samples / abs(samples).max() * 0.7)
    told, heard = wrong(checked(endpin, chart, midi)), wrong(checked(endpin, chart, sound))
    return len(told), len(heard), len(told & heard), take.name


def main():
    endpin, folder, count = sys.argv[1], sys.argv[2], int((*sys.argv, "16")[3])
    Path(folder).mkdir(parents=True, exist_ok=True)
    takes = [hear_takes.replace(take, phone=True) for take in hear_takes.takes_of("measure", count)]
    with ThreadPoolExecutor(2) as pool:
        rows = list(pool.map(lambda take: one(endpin, folder, take), takes))
    for told, heard, both, name in rows:
        print(f"{name:55} planted {told:3d}  heard {heard:3d}  both {both:3d}")
    told, heard, both = (sum(row[column] for row in rows) for column in range(3))
    print(f"precision {both / heard:.3f}, recall {both / told:.3f}, of {told} mistakes")


if __name__ == "__main__":
    main()
