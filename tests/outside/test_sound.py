"""The files as a synthesiser plays them: fluidsynth (a General MIDI sound font)."""

import math
import shutil
import subprocess
import wave
from pathlib import Path

import lead_sheet
import numpy
import pytest

FONTS = ["/usr/share/sounds/sf2/TimGM6mb.sf2", "/usr/share/sounds/sf2/FluidR3_GM.sf2"]
FONT = next((font for font in FONTS if Path(font).exists()), None)
RATE = 44100

pytestmark = pytest.mark.skipif(
    not (FONT and shutil.which("fluidsynth")), reason="needs fluidsynth and a General MIDI sound font"
)


@pytest.fixture(scope="module")
def rendered(endpin, tmp_path_factory):
    folder = tmp_path_factory.mktemp("sound")

    def render(scenario, *options):
        midi, audio = folder / f"{scenario.stem}.mid", folder / "line.wav"
        endpin("write", scenario, "--choruses", "1", *options, "-o", midi)
        run = ["fluidsynth", "-ni", "-F", audio, "-r", str(RATE), FONT, midi]
        subprocess.run(run, check=True, capture_output=True, timeout=120)
        with wave.open(str(audio)) as file:
            frames = file.readframes(file.getnframes())
            return numpy.frombuffer(frames, "<i2").reshape(-1, file.getnchannels()) / 32768

    return render


def level(samples):
    """Decibels below full scale, as root mean square."""
    return 20 * math.log10(max(1e-9, math.sqrt(float((samples**2).mean()))))


PLAYED = ["breakwater-blues", "pilot-boat-waltz", "lamp-room-letter"]


@pytest.mark.parametrize("name", PLAYED)
def test_it_sounds_clean_and_ends_in_silence(rendered, name):
    scenario = Path(__file__).parents[2] / f"scenarios/{name}.toml"
    samples = rendered(scenario)
    sheet = lead_sheet.read(scenario)
    print(f"{name}: {level(samples):.1f} dB, peak {abs(samples).max():.3f}")
    assert len(samples) / RATE > sheet.seconds
    assert level(samples) > -45, "all but silent"
    assert abs(samples).max() < 0.999, "clipped"
    # No half second of the music is silent (nothing in these charts is), and nothing rings at the end.
    half = RATE // 2
    whole = int(sheet.seconds * RATE)
    quietest = min(level(samples[at : at + half]) for at in range(0, whole - half, half))
    assert quietest > -60
    assert level(samples[-half // 5 :]) < -50


@pytest.mark.parametrize("name", PLAYED)
def test_the_bass_is_heard_under_the_comp(rendered, name):
    scenario = Path(__file__).parents[2] / f"scenarios/{name}.toml"
    bass = level(rendered(scenario, "--mute", "comp", "--mute", "time"))
    comp = level(rendered(scenario, "--mute", "bass", "--mute", "time"))
    time = level(rendered(scenario, "--mute", "bass", "--mute", "comp"))
    print(f"{name}: bass {bass:.1f} dB, comp {comp:.1f} dB, time {time:.1f} dB")
    assert bass > comp
    assert bass > time
