// Plays the take as it was, or with the better notes in place.

const { mine, mended } = JSON.parse(document.getElementById("notes").textContent);
const band = new Band();
let playing = null;

function stop() {
  if (!playing) return;
  clearInterval(playing.timer);
  playing.button.setAttribute("aria-pressed", "false");
  band.silence();
  playing = null;
}

function play(button, notes) {
  const again = playing && playing.button === button;
  stop();
  if (again || !notes.length) return;
  band.open();
  const begin = band.now + 0.2 - notes[0][0];
  let next = 0;
  // A little ahead of time, as a browser may wake late.
  const schedule = () => {
    while (next < notes.length && begin + notes[next][0] < band.now + 1.5) {
      const [at, length, midi] = notes[next++];
      band.bass(begin + at, midi, length, false);
    }
    const [last, length] = notes[notes.length - 1];
    if (band.now > begin + last + length + 0.5) stop();
  };
  button.setAttribute("aria-pressed", "true");
  playing = { button, timer: setInterval(schedule, 200) };
  schedule();
}

for (const [id, notes] of [["mine", mine], ["mended", mended]]) {
  const button = document.getElementById(id);
  if (button) button.onclick = () => play(button, notes);
}
