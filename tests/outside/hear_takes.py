"""Takes of lines as sound, from seeds: fluidsynth plays them, sox and ffmpeg put them through a room.

The notes are those of `endpin write`; what is known of each take is where its notes begin (their note-ons),
how long they are, which they are, and which of them are ghost notes.
"""

import json
import random
import shutil
import subprocess
import tempfile
import wave
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import mido
import numpy

RATE = 44100
SCENARIOS = Path(__file__).parents[2] / "scenarios"
# General MIDI sound fonts as Debian packages bring them.
FONTS = {
    "timgm": "/usr/share/sounds/sf2/TimGM6mb.sf2",  # timgm6mb-soundfont
    "fluid": "/usr/share/sounds/sf2/FluidR3_GM.sf2",  # fluid-soundfont-gm
    "csound": "/usr/share/sounds/sf2/sf_GMbank.sf2",  # csound-soundfont
    "muse": "/usr/share/sounds/sf3/MuseScore_General_Lite.sf3",  # musescore-general-soundfont-small
}
# General MIDI programs, counted from 0.
PROGRAMS = {"upright": 32, "finger": 33, "pick": 34, "fretless": 35}
GHOST = 60  # velocities below are ghost notes; `endpin` plays them at 40 to 44, all others from 86
LONGEST = 40.0  # seconds of a take


@dataclass(frozen=True)
class Take:
    """One take: what is played, on what, and what happens to its sound."""

    font: str = "timgm"
    program: str = "upright"
    chart: str = "breakwater-blues"
    tempo: int = 138
    seed: int = 1
    level: int = 4
    instrument: str = "bass"
    cents: int = 0
    backing: float | None = None  # decibels below the bass, as root mean square over the take
    phone: bool = False
    harm: str = ""  # mp3, clipping, hum, m4a, ogg

    @property
    def name(self):
        words = [self.font, self.program, self.chart, self.tempo, f"s{self.seed}", f"l{self.level}"]
        words += [self.instrument] * (self.instrument != "bass") + [f"{self.cents}c"] * bool(self.cents)
        words += ([f"b{self.backing:g}"] if self.backing is not None else []) + ["phone"] * self.phone
        return "-".join(map(str, words + [self.harm] * bool(self.harm)))


@dataclass(frozen=True)
class Note:
    """A note of the reference, in seconds."""

    onset: float
    end: float
    midi: int
    ghost: bool


def run(*command):
    done = subprocess.run([str(word) for word in command], capture_output=True, timeout=300)
    if done.returncode:
        raise RuntimeError(f"{command[0]}: {done.stderr.decode(errors='replace')[-500:]}")


def write_midi(take, endpin, path, *mute):
    """The take's MIDI file from `endpin`, on its program and in its tuning, cut off at LONGEST."""
    chart = SCENARIOS / f"{take.chart}.toml"
    muted = [word for part in mute for word in ("--mute", part)]
    run(
        endpin, "write", chart, "--tempo", take.tempo, "--seed", take.seed, "--level", take.level,
        "--instrument", take.instrument, "--choruses", 4, *muted, "-o", path,
    )  # fmt: skip
    midi = mido.MidiFile(path)
    for track in midi.tracks:
        changed = [on for on in track if on.type == "program_change" and on.channel == 0]
        for message in changed:
            message.program = PROGRAMS[take.program]
    bend = round(take.cents / 200 * 8192)  # General MIDI: two semitones each way
    first = mido.MidiTrack(
        mido.Message("pitchwheel", channel=channel, pitch=bend) for channel in (0, 1)
    )
    midi.tracks.append(first)
    midi.save(path)
    # The same messages in one track, without the notes that begin in the last second or later.
    cut, now, last, seconds, tempo, sounding = mido.MidiTrack(), 0, 0, 0.0, 500000, set()
    for message in mido.merge_tracks(midi.tracks):
        now += message.time
        seconds += mido.tick2second(message.time, midi.ticks_per_beat, tempo)
        if message.type == "set_tempo":
            tempo = message.tempo
        if message.type in ("note_on", "note_off"):
            key = (message.channel, message.note)
            if message.type == "note_on" and message.velocity:
                if seconds > LONGEST - 1:
                    continue
                sounding.add(key)
            elif key in sounding:
                sounding.remove(key)
            else:
                continue
        elif seconds > LONGEST or message.type == "end_of_track":
            continue
        cut.append(message.copy(time=now - last))
        last = now
    out = mido.MidiFile(ticks_per_beat=midi.ticks_per_beat, type=0)
    out.tracks.append(cut)
    out.save(path)


def notes_of(path):
    """The notes of channel 1, in order."""
    notes, open_notes, now = [], {}, 0.0
    for message in mido.MidiFile(path):
        now += message.time
        if getattr(message, "channel", None) != 0:
            continue
        if message.type == "note_on" and message.velocity:
            open_notes[message.note] = (now, message.velocity)
        elif message.type in ("note_on", "note_off") and message.note in open_notes:
            began, velocity = open_notes.pop(message.note)
            notes.append(Note(began, now, message.note, velocity < GHOST))
    return sorted(notes, key=lambda note: note.onset)


def play(midi, font):
    """The samples of a MIDI file as fluidsynth plays it, mono."""
    with tempfile.NamedTemporaryFile(suffix=".raw") as raw:
        run(
            "fluidsynth", "-ni", "-q", "-g", "0.6", "-r", RATE, "-O", "s16", "-T", "raw",
            "-F", raw.name, FONTS[font], midi,
        )  # fmt: skip
        return numpy.fromfile(raw.name, "<i2").reshape(-1, 2).mean(axis=1) / 32768


def level(samples):
    return float(numpy.sqrt(numpy.mean(samples**2))) or 1e-9


def through_a_phone(samples, seed):
    """A small room, a phone's microphone (140 Hz to 7 kHz), its automatic gain, and noise 45 dB below."""
    with tempfile.TemporaryDirectory() as folder:
        before, after = f"{folder}/before.wav", f"{folder}/after.wav"
        save(before, samples / max(1e-9, abs(samples).max()) * 0.5)
        run(
            "sox", "-R", before, after, "reverb", "25", "60", "30",
            "highpass", "140", "highpass", "-1", "100", "lowpass", "7000",
            "compand", "0.01,0.2", "6:-60,-40,-30,-15,0,-6", "-3", "-20", "0.1", "remix", "1",
        )  # fmt: skip
        heard = load(after)
    noise = numpy.random.default_rng(seed).standard_normal(len(heard))
    return heard + noise * level(heard) * 10 ** (-45 / 20)


def save(path, samples):
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        clipped = numpy.clip(numpy.round(samples * 32767), -32768, 32767)
        file.writeframes(clipped.astype("<i2").tobytes())


def load(path):
    with wave.open(str(path)) as file:
        frames = file.readframes(file.getnframes())
        return numpy.frombuffer(frames, "<i2").reshape(-1, file.getnchannels()).mean(axis=1) / 32768


def make(take, folder, endpin):
    """Writes the take's sound and its notes beside it; gives the path of the sound."""
    folder = Path(folder)
    ending = {"mp3": ".mp3", "m4a": ".m4a", "ogg": ".ogg"}.get(take.harm, ".wav")
    sound, known = folder / (take.name + ending), folder / (take.name + ".json")
    if known.exists() and sound.exists():
        return sound
    with tempfile.TemporaryDirectory() as temporary:
        midi = f"{temporary}/line.mid"
        write_midi(take, endpin, midi, "comp", "time")
        notes = notes_of(midi)
        samples = play(midi, take.font)
        if take.backing is not None:
            write_midi(take, endpin, midi, "bass")
            others = play(midi, take.font)
            length = max(len(samples), len(others))
            samples = numpy.pad(samples, (0, length - len(samples)))
            others = numpy.pad(others, (0, length - len(others)))
            samples = samples + others * (level(samples) / level(others) * 10 ** (-take.backing / 20))
        if take.phone:
            samples = through_a_phone(samples, take.seed)
        samples = samples / max(1e-9, abs(samples).max()) * 0.7
        if take.harm == "clipping":
            samples = numpy.clip(samples * 4, -0.7, 0.7)
        if take.harm == "hum":
            time = numpy.arange(len(samples)) / RATE
            hum = sum(numpy.sin(2 * numpy.pi * 50 * k * time) / k for k in (1, 2, 3))
            samples = samples * 0.8 + hum * level(samples) * 10 ** (-20 / 20)
        wav = f"{temporary}/take.wav"
        save(wav, samples)
        if ending == ".wav":
            shutil.copy(wav, sound)
        else:
            run("ffmpeg", "-y", "-loglevel", "error", "-i", wav, "-b:a", "64k", sound)
    known.write_text(
        json.dumps({"take": asdict(take), "notes": [asdict(note) for note in notes]})
    )
    return sound


def takes_of(split, count):
    """Takes of a split. Develop and measure share no chart, seed or tempo; two of the four fonts of
    `measure` were never developed on."""
    draw = random.Random(split)
    develop = split == "develop"
    charts = (
        ["breakwater-blues", "round-the-buoys", "customs-house-corner", "half-tide-slack-rope", "foghorn-point"]
        if develop
        else ["ropewalk-blues", "night-ferry-to-skerrow", "herring-count", "pilot-boat-waltz", "low-water-lantern", "four-winds-ledger"]
    )  # fmt: skip
    tempi = [64, 92, 120, 150, 190, 230, 270] if develop else [60, 80, 108, 138, 170, 208, 250, 280]
    fonts = ["timgm", "fluid"] if develop else ["timgm", "fluid", "csound", "muse"]
    for number in range(count):
        yield Take(
            font=fonts[number % len(fonts)],
            program="upright",
            chart=draw.choice(charts),
            tempo=tempi[number // len(fonts) % len(tempi)],
            seed=number + (1 if develop else 1001),
            level=draw.choice([3, 4, 4, 5, 6]),
        )


def conditions_of(take):
    """The take under each condition, by name."""
    electric = replace(take, program="finger")
    either = take if take.seed // 4 % 2 else electric
    return {
        "upright": take,
        "electric": electric,
        "30 cents off": replace(either, cents=30 if take.seed // 2 % 2 else -30),
        "phone": replace(either, phone=True),
        "backing": replace(either, backing=9.0),
        "backing, phone": replace(either, backing=9.0, phone=True),
        "mp3": replace(either, harm="mp3"),
        "clipping": replace(electric, harm="clipping"),
        "hum": replace(either, harm="hum"),
        "five strings": replace(electric, instrument="five-string"),
        "pick": replace(take, program="pick"),
        "fretless": replace(take, program="fretless"),
    }


def made(split, count, folder, endpin, first=0, only=None):
    """Makes the takes of a split from a number on, under some or all conditions; gives the condition, the
    take and the path of its sound, in order."""
    Path(folder).mkdir(parents=True, exist_ok=True)
    jobs = [
        (condition, take)
        for take in list(takes_of(split, count))[first:]
        for condition, take in conditions_of(take).items()
        if not only or condition in only
    ]
    with ThreadPoolExecutor(2) as pool:
        paths = pool.map(lambda job: make(job[1], folder, endpin), jobs)
        return [(condition, take, path) for (condition, take), path in zip(jobs, paths)]
